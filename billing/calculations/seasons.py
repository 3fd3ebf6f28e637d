"""Parts of the year that return every year, and what is wrong with a set of them."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

# Any leap year: seasons are checked on all 366 days, the 29th of February too.
LEAP_YEAR_START = date(2000, 1, 1)


@dataclass(frozen=True)
class MonthDay:
    """A day of every year, such as 1 November."""

    month: int
    day: int

    def __str__(self) -> str:
        return f"{self.month:02d}-{self.day:02d}"


@dataclass(frozen=True)
class YearSpan:
    """A named part of the year, both days included; it wraps when it starts after it ends."""

    name: str
    first_day: MonthDay
    last_day: MonthDay

    def holds_on(self, day: date) -> bool:
        """Whether the day lies in it."""
        first = (self.first_day.month, self.first_day.day)
        last = (self.last_day.month, self.last_day.day)
        here = (day.month, day.day)
        if first <= last:
            return first <= here <= last
        return here >= first or here <= last


WHOLE_YEAR = YearSpan("all year", MonthDay(1, 1), MonthDay(12, 31))


def year_problems(spans: Sequence[YearSpan], *, must_cover: bool = True) -> Iterator[str]:
    """What is wrong with a set of seasons, as sentences: a day without one, or with two."""
    bad_days = [
        f"season {span.name!r}: {month_day} is not a day of the year"
        for span in spans
        for month_day in (span.first_day, span.last_day)
        if not _is_day_of_year(month_day)
    ]
    if bad_days:
        yield from bad_days
        return
    for offset in range(366):
        day = LEAP_YEAR_START + timedelta(days=offset)
        names = [span.name for span in spans if span.holds_on(day)]
        if must_cover and not names:
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
