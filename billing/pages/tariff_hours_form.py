"""The form for prices by hours and seasons: periods, price seasons, and rows of hours.

What does not fit together (hours without a price, a season missing) the tariff itself finds.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from django import forms

from billing.calculations.time_of_use import WEEKDAYS
from billing.pages.tariff_charge_fields import (
    WHOLE_YEAR,
    MonthDayField,
    charges_of,
    price_field,
)
from billing.pages.tariff_forms import VersionForm
from studio.pages.rows import FormWithRows

PERIODS = range(1, 6)
SEASONS = range(1, 5)
SEASON_PRICES = range(1, 7)
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

    has_periods = True
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
        help_text="One day on each line, such as 2026-12-25, for each year. A name may follow it.",
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
        for number in SEASON_PRICES:
            self.fields[f"in_period_{number}"] = forms.CharField(
                label="In period", max_length=40, required=False
            )
            self.fields[f"in_price_{number}"] = price_field(
                label="Price of one kWh", required=False
            )
            for name, words in (("first", "From day"), ("last", "To day")):
                self.fields[f"in_{name}_{number}"] = MonthDayField(label=words, required=False)

    @property
    def period_fields(self) -> list[Any]:
        return [(self[f"period_{number}"], self[f"price_{number}"]) for number in PERIODS]

    @property
    def season_fields(self) -> list[Any]:
        return [
            (self[f"season_{number}"], self[f"first_{number}"], self[f"last_{number}"])
            for number in SEASONS
        ]

    @property
    def season_price_fields(self) -> list[list[Any]]:
        return [
            [self[f"in_{name}_{number}"] for name in ("period", "first", "last", "price")]
            for number in SEASON_PRICES
        ]

    @property
    def has_season_prices(self) -> bool:
        return self.has_any("in_period_", "in_price_")

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean()
        for number in SEASON_PRICES:
            self.all_or_none(*(f"in_{n}_{number}" for n in ("period", "first", "last", "price")))
        for number in PERIODS:
            self.all_or_none(f"period_{number}", f"price_{number}")
        for number in SEASONS:
            self.all_or_none(f"season_{number}", f"first_{number}", f"last_{number}")
        self._check_season_prices()
        seasons = {season["name"] for season in _seasons(cleaned)}
        for position, row in enumerate(cleaned.get("rows", [])):
            if row["season"] and row["season"] not in seasons:
                told = f"No season above is called “{row['season']}”."
                self.put_row_error(f"rows-{position}-season", told)
                self.add_error(None, told)
        return cleaned

    def _check_season_prices(self) -> None:
        names = {self.cleaned_data.get(f"period_{number}") for number in PERIODS}
        for number in SEASON_PRICES:
            name = self.cleaned_data.get(f"in_period_{number}")
            if name and name not in names:
                self.add_error(f"in_period_{number}", f"No period above is called “{name}”.")

    @staticmethod
    def rates_of(cleaned: Mapping[str, Any]) -> dict[str, Any]:
        """The tariff as `billing.calculations.tariff_documents` reads it."""
        seasons = _seasons(cleaned) or [WHOLE_YEAR]
        return {
            "kind": "time_of_use",
            "time_zone": cleaned["time_zone"],
            "periods": [
                _period(cleaned, number) for number in PERIODS if cleaned[f"period_{number}"]
            ],
            "default_period": cleaned["default_period"] or None,
            "seasons": [{**season, "rules": _rules(season, cleaned)} for season in seasons],
            "holidays": _days_in(cleaned["holidays"]),
            "holiday_period": cleaned["holiday_period"] or None,
            **_price_seasons(cleaned),
            **charges_of(cleaned),
        }


def initial_hours(rates: Mapping[str, Any]) -> dict[str, Any]:
    initial: dict[str, Any] = {
        name: rates.get(name) or "" for name in ("default_period", "holiday_period")
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
    spans = {span["name"]: span for span in rates.get("price_seasons") or ()}
    special = [
        (period["name"], spans[season], price)
        for period in rates["periods"]
        for season, price in (period.get("season_prices") or {}).items()
    ]
    for number, (name, span, price) in zip(SEASON_PRICES, special, strict=False):
        initial[f"in_period_{number}"], initial[f"in_price_{number}"] = name, price
        initial[f"in_first_{number}"] = span["first_day"]
        initial[f"in_last_{number}"] = span["last_day"]
    initial["rows"] = list(_rows(rates))
    return initial


def _days_in(text: str) -> list[str]:
    """The first word of each line; what follows is the day's name. A line may hold only days."""
    words = []
    for line in text.splitlines():
        parts = line.split()
        days = [part for part in parts if part[:1].isdigit()]
        words += days or parts[:1]
    return words


def _season_price_rows(cleaned: Mapping[str, Any]) -> Iterator[tuple[str, str, str, str]]:
    for number in SEASON_PRICES:
        if cleaned.get(f"in_period_{number}"):
            first, last = cleaned[f"in_first_{number}"], cleaned[f"in_last_{number}"]
            yield cleaned[f"in_period_{number}"], first, last, str(cleaned[f"in_price_{number}"])


def _period(cleaned: Mapping[str, Any], number: int) -> dict[str, Any]:
    name = cleaned[f"period_{number}"]
    season_prices = {
        f"{first} to {last}": price
        for period, first, last, price in _season_price_rows(cleaned)
        if period == name
    }
    special = {"season_prices": season_prices} if season_prices else {}
    return {"name": name, "price_per_kwh": str(cleaned[f"price_{number}"]), **special}


def _price_seasons(cleaned: Mapping[str, Any]) -> dict[str, Any]:
    spans = dict.fromkeys((first, last) for _, first, last, _ in _season_price_rows(cleaned))
    if not spans:
        return {}
    return {
        "price_seasons": [
            {"name": f"{first} to {last}", "first_day": first, "last_day": last}
            for first, last in spans
        ]
    }


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
