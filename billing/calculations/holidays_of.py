"""Public holidays, as a first list for a tariff's holidays that a person then checks."""

from collections.abc import Iterable
from datetime import date

import holidays


def holiday_dates(country: str, subdivision: str | None, years: Iterable[int]) -> dict[date, str]:
    """Date and name of each public holiday, days observed in lieu of a weekend included.

    `country` by ISO 3166-1 ("CA"), `subdivision` by ISO 3166-2 without the country ("ON") or
    None. A supplier's list may differ (Ontario's adds the August civic holiday and moves Canada
    Day): compare it with the contract. Raises ValueError for a place that the holidays library
    does not know.
    """
    try:
        found = holidays.country_holidays(
            country, subdiv=subdivision, years=list(years), observed=True, language="en_US"
        )
    except NotImplementedError as error:
        raise ValueError(
            f"country {country!r} with subdivision {subdivision!r} has no known holidays"
        ) from error
    return {day: found[day] for day in sorted(found)}
