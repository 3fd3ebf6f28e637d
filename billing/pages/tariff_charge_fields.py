"""The fields of a tariff beside its energy prices: fixed charges, demand, taxes.

Rows are plain numbered fields, so that the form works without a script.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from billing.calculations.demand import WINDOW_MINUTES

DEMANDS = range(1, 5)
TAXES = range(1, 5)
WHOLE_YEAR = {"name": "all year", "first_day": "01-01", "last_day": "12-31"}


def price_field(**options: Any) -> forms.DecimalField:
    return forms.DecimalField(min_value=0, max_digits=12, decimal_places=6, **options)


class MonthDayField(forms.CharField):
    """A day of every year, written month-day; returns "11-01"."""

    def __init__(self, **options: Any) -> None:
        super().__init__(max_length=5, help_text="Month-day, such as 11-01", **options)

    def clean(self, value: Any) -> str:
        text = str(super().clean(value))
        if not text:
            return ""
        found = re.fullmatch(r"(\d{1,2})-(\d{1,2})", text)
        try:
            # A leap year, so that 02-29 is a day.
            day = date(2000, int(found[1]), int(found[2])) if found else None
        except ValueError:
            day = None
        if day is None:
            raise ValidationError("Write month and day, such as 11-01 for 1 November.")
        return f"{day:%m-%d}"


class ChargeFields:
    """Adds the fields to a form in its `__init__`, and reads them as a part of the document."""

    fields: dict[str, forms.Field]
    cleaned_data: dict[str, Any]
    errors: Any
    has_periods = False

    def add_charge_fields(self) -> None:
        self.fields["per_day"] = price_field(label="Fixed charge for each day", required=False)
        self.fields["per_month"] = price_field(label="Fixed charge for each month", required=False)
        for number in DEMANDS:
            self._add_demand_fields(number)
        for number in TAXES:
            self.fields[f"tax_{number}"] = forms.CharField(
                label=f"Tax {number}", max_length=40, required=False
            )
            self.fields[f"percent_{number}"] = forms.DecimalField(
                label="Percent", min_value=0, max_value=100, decimal_places=4, required=False
            )
            self.fields[f"per_kwh_{number}"] = price_field(label="or for a kWh", required=False)

    def _add_demand_fields(self, number: int) -> None:
        self.fields[f"demand_{number}"] = forms.CharField(
            label=f"Demand charge {number}", max_length=40, required=False
        )
        self.fields[f"per_kw_{number}"] = price_field(label="Price of one kW", required=False)
        self.fields[f"minutes_{number}"] = forms.TypedChoiceField(
            label="Mean of",
            choices=[(minutes, f"{minutes} minutes") for minutes in WINDOW_MINUTES],
            coerce=int,
            empty_value=WINDOW_MINUTES[0],
            required=False,
        )
        if self.has_periods:
            self.fields[f"hours_{number}"] = forms.CharField(
                label="Only in the periods",
                max_length=200,
                required=False,
                help_text="Names with commas; empty: at any hour",
            )
        for name, words in (("first", "From day"), ("last", "To day")):
            self.fields[f"demand_{name}_{number}"] = MonthDayField(label=words, required=False)

    @property
    def demand_fields(self) -> list[list[Any]]:
        names = ["demand_{}", "per_kw_{}", "minutes_{}"]
        names += ["hours_{}"] if self.has_periods else []
        names += ["demand_first_{}", "demand_last_{}"]
        return [[self[name.format(number)] for name in names] for number in DEMANDS]  # type: ignore[index]

    @property
    def tax_fields(self) -> list[list[Any]]:
        names = ("tax_{}", "percent_{}", "per_kwh_{}")
        return [[self[name.format(number)] for name in names] for number in TAXES]  # type: ignore[index]

    @property
    def has_demand(self) -> bool:
        """Whether a line is filled in, or in error: then the lines are shown at once."""
        return self.has_any("demand_", "per_kw_")

    @property
    def has_taxes(self) -> bool:
        return self.has_any("tax_", "percent_", "per_kwh_")

    def has_any(self, *prefixes: str) -> bool:
        names = [name for name in self.fields if name.startswith(prefixes)]
        return any(self[name].value() or self[name].errors for name in names)  # type: ignore[index]

    def clean_charges(self) -> None:
        for number in DEMANDS:
            self.all_or_none(f"demand_{number}", f"per_kw_{number}")
            self.all_or_none(f"demand_first_{number}", f"demand_last_{number}")
        for number in TAXES:
            given = [
                name
                for name in (f"percent_{number}", f"per_kwh_{number}")
                if self.cleaned_data.get(name) is not None
            ]
            has_name = bool(self.cleaned_data.get(f"tax_{number}"))
            if has_name != (len(given) == 1) or len(given) > 1:
                told = "A tax needs its name and either a percentage or an amount for a kWh."
                self.add_error(f"tax_{number}", told)  # type: ignore[attr-defined]

    def all_or_none(self, *names: str) -> None:
        """A line of fields is filled in wholly, or not at all."""
        given = [name for name in names if self.cleaned_data.get(name) not in (None, "")]
        missing = [name for name in names if name not in given and name not in self.errors]
        if given and missing:
            told = "Fill this in too, or leave the whole line empty."
            self.add_error(missing[0], told)  # type: ignore[attr-defined]


def charges_of(cleaned: Mapping[str, Any]) -> dict[str, Any]:
    """The fixed charges, demand charges and taxes that were filled in, as JSON."""
    document: dict[str, Any] = {}
    if cleaned.get("per_day") or cleaned.get("per_month"):
        document["fixed"] = {name: str(cleaned.get(name) or 0) for name in ("per_day", "per_month")}
    if demand := list(_demand_of(cleaned)):
        document["demand"] = demand
    if taxes := list(_taxes_of(cleaned)):
        document["taxes"] = taxes
    return document


def _demand_of(cleaned: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    """Lines of one name are one charge, with a price for each part of the year."""
    found: dict[str, dict[str, Any]] = {}
    for number in DEMANDS:
        name = cleaned.get(f"demand_{number}")
        if not name:
            continue
        periods = [part.strip() for part in (cleaned.get(f"hours_{number}") or "").split(",")]
        charge = found.setdefault(
            name,
            {
                "name": name,
                "window_minutes": cleaned[f"minutes_{number}"],
                "periods": [period for period in periods if period],
                "prices": [],
            },
        )
        first, last = cleaned.get(f"demand_first_{number}"), cleaned.get(f"demand_last_{number}")
        span = (
            {"name": f"{first} to {last}", "first_day": first, "last_day": last}
            if first
            else WHOLE_YEAR
        )
        charge["prices"].append({**span, "price_per_kw": str(cleaned[f"per_kw_{number}"])})
    yield from found.values()


def _taxes_of(cleaned: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    for number in TAXES:
        if not cleaned.get(f"tax_{number}"):
            continue
        kind = "percent" if cleaned.get(f"percent_{number}") is not None else "per_kwh"
        yield {"name": cleaned[f"tax_{number}"], kind: str(cleaned[f"{kind}_{number}"])}


def initial_charges(rates: Mapping[str, Any]) -> dict[str, Any]:
    """A version's charges as they stand in the form."""
    initial: dict[str, Any] = dict(rates.get("fixed") or {})
    lines = [(charge, price) for charge in rates.get("demand") or () for price in charge["prices"]]
    for number, (charge, price) in zip(DEMANDS, lines, strict=False):
        initial[f"demand_{number}"] = charge["name"]
        initial[f"per_kw_{number}"] = price["price_per_kw"]
        initial[f"minutes_{number}"] = charge["window_minutes"]
        initial[f"hours_{number}"] = ", ".join(charge["periods"])
        if (price["first_day"], price["last_day"]) != ("01-01", "12-31"):
            initial[f"demand_first_{number}"] = price["first_day"]
            initial[f"demand_last_{number}"] = price["last_day"]
    for number, tax in zip(TAXES, rates.get("taxes") or (), strict=False):
        initial[f"tax_{number}"] = tax["name"]
        initial[f"percent_{number}"] = tax.get("percent")
        initial[f"per_kwh_{number}"] = tax.get("per_kwh")
    return initial
