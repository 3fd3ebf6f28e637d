"""Forms for a new version of the tariff: what every kind has, one price, and prices by block.

What does not fit together (a block without a price) the tariff itself finds.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from billing.pages.tariff_charge_fields import (
    ChargeFields,
    charges_of,
    price_field,
)
from studio.pages.unit_fields import ReaderForm
from studio.pages.widgets import DayInput

TIERS = range(1, 6)


class VersionForm(ChargeFields, ReaderForm):
    """What every version has. `confirm` is asked for only when a price looks like a slip."""

    confirm_field = "confirm"

    name = forms.CharField(
        label="Name", max_length=80, help_text="Such as the supplier and the name of its tariff."
    )
    valid_from = forms.DateField(
        label="Holds from", help_text="The first day with these prices.", widget=DayInput
    )
    confirm = forms.BooleanField(label="Yes, this price is really meant", required=False)
    time_zone = forms.CharField(
        label="Time zone", max_length=60, help_text="Such as Europe/Berlin."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.add_charge_fields()

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        self.clean_charges()
        return cleaned


class FlatTariffForm(VersionForm):
    price_per_kwh = price_field(
        label="Price of one kWh",
        help_text="In whole currency units, such as 0.21; not in hundredths. "
        "With taxes, unless they are listed below.",
    )
    time_zone = forms.CharField(
        label="Time zone",
        max_length=60,
        required=False,
        help_text="Of the days and months of fixed and demand charges.",
    )

    @staticmethod
    def rates_of(cleaned: Mapping[str, Any]) -> dict[str, Any]:
        charges = charges_of(cleaned)
        zone = {"time_zone": cleaned["time_zone"]} if charges and cleaned["time_zone"] else {}
        price = str(cleaned["price_per_kwh"])
        return {"kind": "flat", "price_per_kwh": price, **zone, **charges}


class TieredTariffForm(VersionForm):
    """The first kWh of a month at one price, the next at another."""

    time_zone = forms.CharField(
        label="Time zone of the months", max_length=60, help_text="Such as Europe/Berlin."
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number in TIERS:
            self.fields[f"up_to_{number}"] = forms.DecimalField(
                label=f"Block {number}: up to so many kWh of the month",
                min_value=0,
                max_digits=12,
                decimal_places=3,
                required=False,
                help_text="Empty in the last block: all that is left.",
            )
            self.fields[f"price_{number}"] = price_field(
                label=f"Price of one kWh in block {number}", required=number == 1
            )

    @property
    def tier_fields(self) -> list[Any]:
        return [(self[f"up_to_{number}"], self[f"price_{number}"]) for number in TIERS]

    @staticmethod
    def rates_of(cleaned: Mapping[str, Any]) -> dict[str, Any]:
        tiers = [
            {
                "up_to_kwh": None
                if cleaned[f"up_to_{number}"] is None
                else str(cleaned[f"up_to_{number}"]),
                "price_per_kwh": str(cleaned[f"price_{number}"]),
            }
            for number in TIERS
            if cleaned[f"price_{number}"] is not None
        ]
        zone = cleaned["time_zone"]
        return {"kind": "tiered", "time_zone": zone, "tiers": tiers, **charges_of(cleaned)}

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        for number in TIERS:
            if cleaned.get(f"up_to_{number}") is not None:
                self.all_or_none(f"up_to_{number}", f"price_{number}")
        return cleaned
