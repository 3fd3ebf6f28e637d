"""Forms for a new version of the tariff: one price at all hours, or prices by hours and seasons.

What does not fit together (hours without a price, a season missing) the tariff itself finds.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from datetime import date
from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from billing.calculations.time_of_use import WEEKDAYS
from studio.pages.rows import FormWithRows
from studio.pages.unit_fields import ReaderForm
from studio.pages.widgets import DayInput

PERIODS = range(1, 6)
SEASONS = range(1, 5)
WHOLE_YEAR = {"name": "all year", "first_day": "01-01", "last_day": "12-31"}
DAYS_OF = {
    "every": ("Every day", WEEKDAYS),
    "work": ("Monday to Friday", WEEKDAYS[:5]),
    "weekend": ("Saturday and Sunday", WEEKDAYS[5:]),
    **{
        short: (name, (short,))
        for short, name in zip(
            WEEKDAYS,
            ("Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"),
            strict=True,
        )
    },
}


def price_field(**options: Any) -> forms.DecimalField:
    return forms.DecimalField(min_value=0, max_digits=12, decimal_places=6, **options)


class VersionForm(ReaderForm):
    """What every version has. `confirm` is asked for only when a price looks like a slip."""

    confirm_field = "confirm"

    name = forms.CharField(
        label="Name", max_length=80, help_text="Such as the supplier and the name of its tariff."
    )
    valid_from = forms.DateField(
        label="Holds from", help_text="The first day with these prices.", widget=DayInput
    )
    confirm = forms.BooleanField(label="Yes, this price is really meant", required=False)


class FlatTariffForm(VersionForm):
    price_per_kwh = price_field(
        label="Price of one kWh",
        help_text="In whole currency units with taxes, such as 0.21; not in hundredths.",
    )

    field_order = ("name", "valid_from", "price_per_kwh", "confirm")

    @staticmethod
    def rates_of(cleaned: Mapping[str, Any]) -> dict[str, Any]:
        return {"kind": "flat", "price_per_kwh": str(cleaned["price_per_kwh"])}


class HoursRow(forms.Form):
    days = forms.ChoiceField(
        label="On", choices=[(key, label) for key, (label, _) in DAYS_OF.items()]
    )
    start = forms.CharField(label="From", max_length=5, help_text="Such as 07:00")
    end = forms.CharField(label="To", max_length=5, help_text="24:00 is midnight at its end")
    period = forms.CharField(label="Period", max_length=40)
    season = forms.CharField(
        label="Season", max_length=40, required=False, help_text="Empty: in every season"
    )

    def has_changed(self) -> bool:
        # What stood there before is an entry too; the choice of days alone is none.
        return any(self[name].data for name in ("start", "end", "period", "season"))


class TariffByHoursForm(FormWithRows, VersionForm):
    """Periods with their prices, seasons with their days, and rows of hours."""

    row_form = HoursRow
    rows_min, rows_max, rows_extra = 0, 40, 4

    time_zone = forms.CharField(
        label="Time zone of the hours", max_length=60, help_text="Such as Europe/Berlin."
    )
    default_period = forms.CharField(
        label="Period of all other hours",
        max_length=40,
        required=False,
        help_text="Its name. Leave it empty only if the rows below name every hour.",
    )
    holiday_period = forms.CharField(
        label="Period of holidays",
        max_length=40,
        required=False,
        help_text="Its name; for the days listed below.",
    )
    holidays = forms.CharField(
        label="Holidays",
        required=False,
        help_text="One day on each line, such as 2026-12-25, for each year.",
        widget=forms.Textarea({"rows": 4}),
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        for number in PERIODS:
            self.fields[f"period_{number}"] = forms.CharField(
                label=f"Period {number}", max_length=40, required=number == 1
            )
            self.fields[f"price_{number}"] = price_field(
                label=f"Price of one kWh in period {number}", required=number == 1
            )
        for number in SEASONS:
            self.fields[f"season_{number}"] = forms.CharField(
                label=f"Season {number}", max_length=40, required=False
            )
            for name, words in (("first", "First"), ("last", "Last")):
                self.fields[f"{name}_{number}"] = MonthDayField(
                    label=f"{words} day of season {number}", required=False
                )

    @property
    def period_fields(self) -> list[Any]:
        return [(self[f"period_{number}"], self[f"price_{number}"]) for number in PERIODS]

    @property
    def season_fields(self) -> list[Any]:
        return [
            (self[f"season_{number}"], self[f"first_{number}"], self[f"last_{number}"])
            for number in SEASONS
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for number in PERIODS:
            self._all_or_none(f"period_{number}", f"price_{number}")
        for number in SEASONS:
            self._all_or_none(f"season_{number}", f"first_{number}", f"last_{number}")
        seasons = {season["name"] for season in _seasons(cleaned)}
        for position, row in enumerate(cleaned.get("rows", [])):
            if row["season"] and row["season"] not in seasons:
                told = f"No season above is called “{row['season']}”."
                self.put_row_error(f"rows-{position}-season", told)
                self.add_error(None, told)
        return cleaned

    def _all_or_none(self, *names: str) -> None:
        given = [name for name in names if self.cleaned_data.get(name) not in (None, "")]
        missing = [name for name in names if name not in given and name not in self.errors]
        if given and missing:
            self.add_error(missing[0], "Fill this in too, or leave the whole line empty.")

    @staticmethod
    def rates_of(cleaned: Mapping[str, Any]) -> dict[str, Any]:
        """The tariff as `billing.calculations.tariff_documents` reads it."""
        seasons = _seasons(cleaned) or [WHOLE_YEAR]
        return {
            "kind": "time_of_use",
            "time_zone": cleaned["time_zone"],
            "periods": [
                {
                    "name": cleaned[f"period_{number}"],
                    "price_per_kwh": str(cleaned[f"price_{number}"]),
                }
                for number in PERIODS
                if cleaned[f"period_{number}"]
            ],
            "default_period": cleaned["default_period"] or None,
            "seasons": [{**season, "rules": _rules(season, cleaned)} for season in seasons],
            "holidays": cleaned["holidays"].split(),
            "holiday_period": cleaned["holiday_period"] or None,
        }


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


def initial_of(rates: Mapping[str, Any]) -> dict[str, Any]:
    """A version by hours as it stands in the form, to begin a new one with."""
    initial: dict[str, Any] = {
        name: rates.get(name) or "" for name in ("time_zone", "default_period", "holiday_period")
    }
    initial["holidays"] = "\n".join(rates.get("holidays") or ())
    for number, period in zip(PERIODS, rates["periods"], strict=False):
        initial[f"period_{number}"] = period["name"]
        initial[f"price_{number}"] = period["price_per_kwh"]
    for number, season in zip(SEASONS, rates["seasons"], strict=False):
        initial[f"season_{number}"] = season["name"]
        initial[f"first_{number}"], initial[f"last_{number}"] = (
            season["first_day"],
            season["last_day"],
        )
    initial["rows"] = list(_rows(rates))
    return initial


def _rows(rates: Mapping[str, Any]) -> Iterator[dict[str, Any]]:
    key_of = {frozenset(days): key for key, (_, days) in DAYS_OF.items()}
    for season in rates["seasons"]:
        for rule in season["rules"]:
            hours = {
                "start": rule["from"],
                "end": rule["to"],
                "period": rule["period"],
                "season": season["name"],
            }
            together = key_of.get(frozenset(rule["weekdays"]))
            for days in [together] if together else rule["weekdays"]:
                yield {"days": days, **hours}


def _seasons(cleaned: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {
            "name": cleaned[f"season_{number}"],
            "first_day": cleaned.get(f"first_{number}"),
            "last_day": cleaned.get(f"last_{number}"),
        }
        for number in SEASONS
        if cleaned.get(f"season_{number}")
    ]


def _rules(season: Mapping[str, Any], cleaned: Mapping[str, Any]) -> list[dict[str, Any]]:
    return [
        {
            "weekdays": list(DAYS_OF[row["days"]][1]),
            "from": row["start"],
            "to": row["end"],
            "period": row["period"],
        }
        for row in cleaned["rows"]
        if row["season"] in ("", season["name"])
    ]
