"""A time-of-use tariff: which price holds at which local wall-clock time, and what is wrong
with one that leaves a time without a price or gives it two."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from decimal import Decimal
from functools import cached_property
from zoneinfo import ZoneInfo

from billing.calculations.prices import TariffError, check_price, zone_problems
from billing.calculations.seasons import YearSpan, year_problems

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
MINUTES_PER_DAY = 24 * 60


@dataclass(frozen=True)
class TariffPeriod:
    """A named price, such as "on peak"; prices in whole currency units.

    `season_prices` are those of the price seasons in which it costs something else.
    """

    name: str
    price_per_kwh: Decimal
    season_prices: tuple[tuple[str, Decimal], ...] = ()


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
class Season(YearSpan):
    """A part of the year with its own hours."""

    rules: tuple[HourRule, ...] = ()


@dataclass(frozen=True)
class TimeOfUseTariff:
    """Prices by season, weekday and hour on the wall clock of `time_zone` (an IANA name).

    A time that no rule names has `default_period`; without one every time needs a rule. On a
    date in `holidays` the whole local day has `holiday_period`. `price_seasons` are parts of the
    year in which a period may have another price; they need not be the seasons of the hours.
    Raises TariffError, naming every problem found.
    """

    time_zone: str
    periods: tuple[TariffPeriod, ...]
    seasons: tuple[Season, ...]
    default_period: str | None = None
    holidays: frozenset[date] = field(default_factory=frozenset)
    holiday_period: str | None = None
    price_seasons: tuple[YearSpan, ...] = ()

    def __post_init__(self) -> None:
        problems = tuple(_problems(self))
        if problems:
            raise TariffError(problems)

    @cached_property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    @cached_property
    def rows(self) -> dict[tuple[str, str], TariffPeriod]:
        """Every price by period and price season (none: ""), in the order of the periods."""
        found: dict[tuple[str, str], TariffPeriod] = {}
        for period in self.periods:
            found[period.name, ""] = TariffPeriod(period.name, period.price_per_kwh)
            for season, price in period.season_prices:
                row = TariffPeriod(f"{period.name}, {season}", price)
                found[period.name, season] = row
        return found

    def row_on(self, period: str, day: date) -> tuple[str, str]:
        """The key of `rows` that holds for a period on a local day."""
        season = next((span.name for span in self.price_seasons if span.holds_on(day)), "")
        return (period, season) if (period, season) in self.rows else (period, "")

    def period_at(self, moment: datetime) -> str:
        """The name of the period in force at a moment."""
        local = moment.astimezone(self.zone)
        minute = local.hour * 60 + local.minute
        changes = self.periods_of_day(local.date())
        return [name for starts, name in changes if starts <= minute][-1]

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


def clock(minute: int) -> str:
    """Minute of the day as shown and stored: 450 gives "07:30", 1440 "24:00"."""
    return f"{minute // 60:02d}:{minute % 60:02d}"


def _rules_on(season: Season, weekday: int) -> list[HourRule]:
    rules = [rule for rule in season.rules if weekday in rule.weekdays]
    return sorted(rules, key=lambda rule: rule.start_minute)


def _problems(tariff: TimeOfUseTariff) -> Iterator[str]:
    yield from zone_problems(tariff.time_zone)
    yield from _period_problems(tariff)
    yield from year_problems(tariff.seasons)
    yield from _season_price_problems(tariff)
    for season in tariff.seasons:
        bad_rules = list(_rule_problems(season, {period.name for period in tariff.periods}))
        yield from bad_rules or _week_problems(season, tariff.default_period)


def _period_problems(tariff: TimeOfUseTariff) -> Iterator[str]:
    if not tariff.periods:
        yield "a time-of-use tariff needs at least one period with its price"
    names = [period.name for period in tariff.periods]
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield f"period {name!r} is given twice"
    for period in tariff.periods:
        yield from check_price(period.price_per_kwh, f"price of period {period.name!r}")
        for season, price in period.season_prices:
            yield from check_price(price, f"price of period {period.name!r} in {season!r}")
    if tariff.default_period is not None and tariff.default_period not in names:
        yield f"default period {tariff.default_period!r} is not one of the periods"
    if tariff.holiday_period is not None and tariff.holiday_period not in names:
        yield f"holiday period {tariff.holiday_period!r} is not one of the periods"
    if tariff.holidays and tariff.holiday_period is None:
        yield "holidays are listed, but not which period they have"


def _season_price_problems(tariff: TimeOfUseTariff) -> Iterator[str]:
    yield from year_problems(tariff.price_seasons, must_cover=False)
    seasons = [span.name for span in tariff.price_seasons]
    for name in sorted({name for name in seasons if seasons.count(name) > 1}):
        yield f"price season {name!r} is given twice"
    for period in tariff.periods:
        for season, _ in period.season_prices:
            if season not in seasons:
                yield f"period {period.name!r}: {season!r} is not one of the price seasons"


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
