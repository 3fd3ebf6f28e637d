"""A time-of-use tariff: which price holds at which local wall-clock time, and what is wrong
with one that leaves a time without a price or gives it two."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta
from decimal import Decimal
from functools import cached_property
from zoneinfo import ZoneInfo

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
MINUTES_PER_DAY = 24 * 60
# Any leap year: seasons are checked on all 366 days, the 29th of February too.
LEAP_YEAR_START = date(2000, 1, 1)
# Room for every currency; beyond it a price is a slip, or an attempt to break the sums.
PRICE_MAX = Decimal(999_999)
PRICE_DECIMALS = 6


class TariffError(ValueError):
    """A tariff that cannot be used. `problems` are sentences for the person who typed it."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(self.problems))


@dataclass(frozen=True)
class MonthDay:
    """A day of every year, such as 1 November."""

    month: int
    day: int

    def __str__(self) -> str:
        return f"{self.month:02d}-{self.day:02d}"


@dataclass(frozen=True)
class TariffPeriod:
    """A named price, such as "on peak"; `price_per_kwh` in whole currency units."""

    name: str
    price_per_kwh: Decimal


@dataclass(frozen=True)
class HourRule:
    """On these weekdays (0 Monday .. 6 Sunday), from minute to minute of the local day, a period.

    Minutes run from 0 to 1440 on the wall clock; the end is not included.
    """

    weekdays: frozenset[int]
    start_minute: int
    end_minute: int
    period: str


@dataclass(frozen=True)
class Season:
    """A part of the year, both days included; it wraps when it starts after it ends."""

    name: str
    first_day: MonthDay
    last_day: MonthDay
    rules: tuple[HourRule, ...] = ()

    def holds_on(self, day: date) -> bool:
        """Whether the day lies in the season."""
        first = (self.first_day.month, self.first_day.day)
        last = (self.last_day.month, self.last_day.day)
        here = (day.month, day.day)
        if first <= last:
            return first <= here <= last
        return here >= first or here <= last


@dataclass(frozen=True)
class TimeOfUseTariff:
    """Prices by season, weekday and hour on the wall clock of `time_zone` (an IANA name).

    A time that no rule names has `default_period`; without one every time needs a rule. On a
    date in `holidays` the whole local day has `holiday_period`. Raises TariffError, naming
    every problem found.
    """

    time_zone: str
    periods: tuple[TariffPeriod, ...]
    seasons: tuple[Season, ...]
    default_period: str | None = None
    holidays: frozenset[date] = field(default_factory=frozenset)
    holiday_period: str | None = None

    def __post_init__(self) -> None:
        problems = tuple(_problems(self))
        if problems:
            raise TariffError(problems)

    @cached_property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    def periods_of_day(self, day: date) -> tuple[tuple[int, str], ...]:
        """The local day as (first minute, period) in order, the first at minute 0."""
        if day in self.holidays and self.holiday_period is not None:
            return ((0, self.holiday_period),)
        season = next(season for season in self.seasons if season.holds_on(day))
        changes: list[tuple[int, str]] = []
        minute = 0
        for rule in _rules_on(season, day.weekday()):
            if rule.start_minute > minute:
                changes.append((minute, str(self.default_period)))
            changes.append((rule.start_minute, rule.period))
            minute = rule.end_minute
        if minute < MINUTES_PER_DAY:
            changes.append((minute, str(self.default_period)))
        return tuple(changes)


def check_price(price: object, where: str) -> Iterator[str]:
    """What is wrong with a price for a kWh, as sentences; nothing when it is fine."""
    if not isinstance(price, Decimal) or not price.is_finite():
        yield f"{where} must be a decimal number, not {price!r}"
    elif price < 0:
        yield f"{where} must not be negative, but is {price}"
    elif price > PRICE_MAX or price != round(price, PRICE_DECIMALS):
        yield (
            f"{where} must be at most {PRICE_MAX:,}, with {PRICE_DECIMALS} decimals or fewer, "
            f"but is {price}"
        )


def clock(minute: int) -> str:
    """Minute of the day as shown and stored: 450 gives "07:30", 1440 "24:00"."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def _rules_on(season: Season, weekday: int) -> list[HourRule]:
    rules = [rule for rule in season.rules if weekday in rule.weekdays]
    return sorted(rules, key=lambda rule: rule.start_minute)


def _problems(tariff: TimeOfUseTariff) -> Iterator[str]:
    yield from _zone_problems(tariff.time_zone)
    yield from _period_problems(tariff)
    yield from _year_problems(tariff.seasons)
    for season in tariff.seasons:
        bad_rules = list(_rule_problems(season, {period.name for period in tariff.periods}))
        yield from bad_rules or _week_problems(season, tariff.default_period)


def _zone_problems(time_zone: str) -> Iterator[str]:
    try:
        ZoneInfo(time_zone)
    except (KeyError, ValueError, OSError, TypeError, AttributeError):
        yield f"time zone {time_zone!r} is not known; use a name such as 'Europe/Berlin'"


def _period_problems(tariff: TimeOfUseTariff) -> Iterator[str]:
    if not tariff.periods:
        yield "a time-of-use tariff needs at least one period with its price"
    names = [period.name for period in tariff.periods]
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield f"period {name!r} is given twice"
    for period in tariff.periods:
        yield from check_price(period.price_per_kwh, f"price of period {period.name!r}")
    if tariff.default_period is not None and tariff.default_period not in names:
        yield f"default period {tariff.default_period!r} is not one of the periods"
    if tariff.holiday_period is not None and tariff.holiday_period not in names:
        yield f"holiday period {tariff.holiday_period!r} is not one of the periods"
    if tariff.holidays and tariff.holiday_period is None:
        yield "holidays are listed, but not which period they have"


def _rule_problems(season: Season, names: set[str]) -> Iterator[str]:
    for rule in season.rules:
        where = f"season {season.name!r}"
        if rule.period not in names:
            yield f"{where}: period {rule.period!r} is not one of the periods"
        if not rule.weekdays or not rule.weekdays <= set(range(7)):
            yield f"{where}: weekdays must be from Monday (0) to Sunday (6)"
        if rule.start_minute < 0 or rule.end_minute > MINUTES_PER_DAY:
            yield f"{where}: hours must lie between 00:00 and 24:00"
        elif rule.start_minute >= rule.end_minute:
            yield (
                f"{where}: hours {clock(rule.start_minute)} to {clock(rule.end_minute)} do not "
                "go forward; give a range over midnight as two ranges"
            )


def _week_problems(season: Season, default_period: str | None) -> Iterator[str]:
    """One sentence for each fault, naming all the days that have it."""
    weekdays: dict[str, list[int]] = {}
    for weekday in range(len(WEEKDAYS)):
        for problem in _day_problems(_rules_on(season, weekday), default_period):
            weekdays.setdefault(problem, []).append(weekday)
    for problem, days in weekdays.items():
        yield f"season {season.name!r}, {_weekday_words(days)}: {problem}"


def _day_problems(rules: Sequence[HourRule], default_period: str | None) -> Iterator[str]:
    minute = 0
    for rule in rules:
        if rule.start_minute < minute:
            overlap_end = min(minute, rule.end_minute)
            yield f"{clock(rule.start_minute)} to {clock(overlap_end)} has two periods"
        elif rule.start_minute > minute and default_period is None:
            yield f"{clock(minute)} to {clock(rule.start_minute)} has no period"
        minute = max(minute, rule.end_minute)
    if minute < MINUTES_PER_DAY and default_period is None:
        yield f"{clock(minute)} to 24:00 has no period"


def _weekday_words(days: Sequence[int]) -> str:
    """Such as "mon to fri" for days in a row, else "mon, wed"."""
    first, last = days[0], days[-1]
    if len(days) > 2 and last - first == len(days) - 1:
        return f"{WEEKDAYS[first]} to {WEEKDAYS[last]}"
    return ", ".join(WEEKDAYS[day] for day in days)


def _year_problems(seasons: tuple[Season, ...]) -> Iterator[str]:
    bad_days = [
        f"season {season.name!r}: {month_day} is not a day of the year"
        for season in seasons
        for month_day in (season.first_day, season.last_day)
        if not _is_day_of_year(month_day)
    ]
    if bad_days:
        yield from bad_days
        return
    for offset in range(366):
        day = LEAP_YEAR_START + timedelta(days=offset)
        names = [season.name for season in seasons if season.holds_on(day)]
        if not names:
            yield f"no season holds on {day:%m-%d}"
            return
        if len(names) > 1:
            yield f"seasons {' and '.join(map(repr, names))} both hold on {day:%m-%d}"
            return


def _is_day_of_year(month_day: MonthDay) -> bool:
    try:
        date(LEAP_YEAR_START.year, month_day.month, month_day.day)
    except (ValueError, TypeError):
        return False
    return True
