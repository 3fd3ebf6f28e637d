"""A tariff by hours as a picture: for each season, 24 hours down and the days of the week across.

Each period has a letter; the colour only repeats it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from string import ascii_uppercase

from billing.calculations.tariffs import EnergyPrices
from billing.calculations.time_of_use import Season, TimeOfUseTariff

MINUTES_PER_HOUR = 60
# Seven years hold every weekday of every day of the year, the 29th of February apart.
FIRST_LOOKED_AT, DAYS_LOOKED_AT = date(2001, 1, 1), 7 * 366


@dataclass(frozen=True)
class PeriodKey:
    letter: str
    number: int
    name: str
    price_per_kwh: Decimal
    season_prices: tuple[tuple[str, Decimal], ...] = ()


@dataclass(frozen=True)
class Cell:
    """One hour of one weekday: the letters of its periods, mostly one."""

    letters: str
    names: str
    number: int


@dataclass(frozen=True)
class SeasonPicture:
    name: str
    first_day: str
    last_day: str
    hours: tuple[tuple[str, tuple[Cell, ...]], ...]


@dataclass(frozen=True)
class TariffPicture:
    keys: tuple[PeriodKey, ...]
    seasons: tuple[SeasonPicture, ...]


def picture_of(tariff: EnergyPrices) -> TariffPicture | None:
    """The picture; None for prices that do not go by the hour."""
    if not isinstance(tariff, TimeOfUseTariff):
        return None
    keys = tuple(
        PeriodKey(
            ascii_uppercase[number],
            number,
            period.name,
            period.price_per_kwh,
            period.season_prices,
        )
        for number, period in enumerate(tariff.periods)
    )
    by_name = {key.name: key for key in keys}
    return TariffPicture(keys, tuple(_season(tariff, season, by_name) for season in tariff.seasons))


def _season(tariff: TimeOfUseTariff, season: Season, keys: dict[str, PeriodKey]) -> SeasonPicture:
    weeks = [list(_hours(tariff, day, keys)) for day in _days(tariff, season)]
    hours = tuple((f"{hour:02d}:00", tuple(day[hour] for day in weeks)) for hour in range(24))
    return SeasonPicture(season.name, _words(season.first_day), _words(season.last_day), hours)


def _words(month_day: object) -> str:
    day = date.fromisoformat(f"2000-{month_day}")
    return f"{day.day} {day:%B}"


def _days(tariff: TimeOfUseTariff, season: Season) -> list[date]:
    """A Monday to a Sunday of the season, none of them a holiday."""
    found: dict[int, date] = {}
    for offset in range(DAYS_LOOKED_AT):
        day = FIRST_LOOKED_AT + timedelta(days=offset)
        if day.weekday() not in found and season.holds_on(day) and day not in tariff.holidays:
            found[day.weekday()] = day
            if len(found) == 7:
                break
    return [found[weekday] for weekday in sorted(found)]


def _hours(tariff: TimeOfUseTariff, day: date, keys: dict[str, PeriodKey]) -> Iterator[Cell]:
    changes = tariff.periods_of_day(day)
    for hour in range(24):
        start, end = hour * MINUTES_PER_HOUR, (hour + 1) * MINUTES_PER_HOUR
        first = [name for minute, name in changes if minute <= start][-1]
        later = [name for minute, name in changes if start < minute < end]
        names = list(dict.fromkeys([first, *later]))
        letters = "/".join(keys[name].letter for name in names)
        yield Cell(letters, ", then ".join(names), keys[first].number)
