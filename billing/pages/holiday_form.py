"""The public holidays of a place, as a first list that a person then checks."""

from __future__ import annotations

from typing import Any

from django import forms

from billing.calculations.holidays_of import holiday_dates

YEARS_MAX = 10


class HolidaysForm(forms.Form):
    """Country and region by their codes, and the years."""

    country = forms.CharField(
        label="Country", max_length=2, help_text="Two letters, such as CA (ISO 3166-1)"
    )
    region = forms.CharField(
        label="Region",
        max_length=3,
        required=False,
        help_text="Its code without the country, such as ON (ISO 3166-2)",
    )
    first_year = forms.IntegerField(label="First year", min_value=1990, max_value=2100)
    last_year = forms.IntegerField(label="Last year", min_value=1990, max_value=2100)

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or self.cleaned_data
        if self.errors:
            return cleaned
        if not 0 <= cleaned["last_year"] - cleaned["first_year"] < YEARS_MAX:
            self.add_error("last_year", f"From the first year on, {YEARS_MAX} years at most.")
            return cleaned
        try:
            self.found = holiday_dates(
                cleaned["country"].upper(),
                cleaned["region"].upper() or None,
                range(cleaned["first_year"], cleaned["last_year"] + 1),
            )
        except ValueError:
            self.add_error("country", "No public holidays are known for this place.")
        return cleaned


def holiday_lines(form: HolidaysForm) -> str:
    """One line for each: the day and its name; days in lieu of a weekend included."""
    return "\n".join(f"{day.isoformat()} {name}" for day, name in form.found.items())
