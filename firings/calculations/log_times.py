"""Moments as loggers write them, and what the two odd nights of the year do to them."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, timezone
from itertools import pairwise
from zoneinfo import ZoneInfo

from firings.calculations.log_lines import Faults

SECONDS_OF_UNIT = {"s": 1.0, "min": 60.0, "h": 3600.0}
# A firing with its cooling lasts days; more means the wrong column or the wrong unit.
LONGEST_ELAPSED = timedelta(days=30)
# A logger that has lost its clock writes years such as 1970.
FIRST_YEAR, LAST_YEAR = 2000, 2100

DATE = r"(?P<first>\d{1,4})(?P<mark>[-./])(?P<second>\d{1,2})(?P=mark)(?P<third>\d{1,4})"
CLOCK = (
    r"(?P<hour>\d{1,2}):(?P<minute>\d{2})(?::(?P<seconds>\d{2})(?:[.,](?P<part>\d{1,9}))?)?"
    r"\s*(?P<half>[AaPp]\.?[Mm]\.?)?\s*(?P<offset>Z|UTC|[+-]\d{2}:?\d{2})?"
)
_MOMENT = re.compile(rf"{DATE}(?:\s*T\s*|\s*,\s*|\s+){CLOCK}")
_ELAPSED_CLOCK = re.compile(r"(?P<hours>\d{1,3}):(?P<minutes>[0-5]\d)(?::(?P<seconds>[0-5]\d))?")

_EXAMPLES = {
    "iso": "2026-03-29 13:30",
    "day_first": "29.03.2026 13:30",
    "month_first": "03/29/2026 1:30 PM",
}


def read_moment(text: str, order: str) -> datetime:
    """A date and time of day: aware if the text has an offset, else local and without a zone.

    A date that begins with its year is understood in every order. Raises ValueError with a
    message for people. `order`: iso, day_first or month_first.
    """
    found = _MOMENT.fullmatch(text)
    if found is None:
        raise ValueError(f"{text!r} is no date and time such as {_EXAMPLES[order]}.")
    try:
        day = _day(found, order)
        moment = datetime(  # noqa: DTZ001  # its zone is settled when all lines are known
            day.year,
            day.month,
            day.day,
            _hour(found),
            int(found["minute"]),
            int(found["seconds"] or 0),
            int((found["part"] or "0").ljust(6, "0")[:6]),
        )
        offset = _offset(found["offset"])
    except ValueError as error:
        raise ValueError(f"{text!r} is no date and time: {error}.") from None
    return moment if offset is None else moment.replace(tzinfo=offset).astimezone(UTC)


def _day(found: re.Match[str], order: str) -> date:
    first, second, third = (int(found[name]) for name in ("first", "second", "third"))
    if len(found["first"]) == 4:
        year, month, day = first, second, third
    elif order == "iso":
        raise ValueError("the year must come first")
    elif len(found["third"]) != 4:
        raise ValueError("the year must have four digits")
    else:
        day, month = (first, second) if order == "day_first" else (second, first)
        year = third
    if not FIRST_YEAR <= year <= LAST_YEAR:
        raise ValueError(f"the year must lie between {FIRST_YEAR} and {LAST_YEAR}")
    return date(year, month, day)


def _hour(found: re.Match[str]) -> int:
    hour = int(found["hour"])
    if not found["half"]:
        return hour
    if not 1 <= hour <= 12:
        raise ValueError("hours with AM or PM go from 1 to 12")
    return hour % 12 + (12 if found["half"][0] in "Pp" else 0)


def _offset(text: str | None) -> timezone | None:
    if not text:
        return None
    if text in ("Z", "UTC"):
        return UTC
    minutes = int(text[1:3]) * 60 + int(text[-2:])
    if minutes >= 24 * 60:
        raise ValueError("the offset from UTC must be less than a day")
    return timezone(timedelta(minutes=-minutes if text[0] == "-" else minutes))


def read_elapsed(text: str, number: float | None, unit: str) -> timedelta:
    """The time since the start: a number of s, min or h, or HH:MM:SS when `unit` is "clock"."""
    if unit == "clock":
        found = _ELAPSED_CLOCK.fullmatch(text)
        if found is None:
            raise ValueError(f"{text!r} is no time since the start such as 01:30:00.")
        elapsed = timedelta(
            hours=int(found["hours"]),
            minutes=int(found["minutes"]),
            seconds=int(found["seconds"] or 0),
        )
    elif number is None or number < 0:
        raise ValueError(f"{text!r} is no time since the start in {unit}.")
    else:
        elapsed = timedelta(seconds=min(number * SECONDS_OF_UNIT[unit], 1e9))
    if elapsed > LONGEST_ELAPSED:
        raise ValueError(f"{text!r} is more than {LONGEST_ELAPSED.days} days after the start.")
    return elapsed


@dataclass(frozen=True, slots=True)
class LinedMoment:
    """A moment and the line it was read from."""

    line: int
    at: datetime

    @property
    def is_local(self) -> bool:
        return self.at.tzinfo is None


def placed_in_zone(
    moments: Sequence[LinedMoment], zone: ZoneInfo, faults: Faults, in_order: bool
) -> tuple[list[datetime], list[str]]:
    """UTC for each moment, and warnings. `in_order`: the file runs from early to late.

    A local time that the clock skips in spring is a fault. A local time that comes twice in
    autumn is settled by the order of the lines when the file goes through that hour twice; when
    it goes through it once, nobody can know which it was, and it is a fault.
    """
    placed = [_in_zone(moment, zone, 0) for moment in moments]
    warnings = []
    start = 0
    while start < len(moments):
        if not moments[start].is_local:
            start += 1
            continue
        early, late = placed[start].utcoffset(), _in_zone(moments[start], zone, 1).utcoffset()
        if early is not None and late is not None and early < late:
            faults.add(moments[start].line, _skipped_message(moments[start], zone))
        if early is None or late is None or early <= late:
            start += 1
            continue
        stop = start + 1
        while stop < len(moments) and _comes_twice(moments[stop], zone):
            stop += 1
        second = _second_pass(moments[start:stop]) if in_order else None
        if second is None:
            faults.add(moments[start].line, _twice_message(moments[start], zone))
        else:
            for index in range(start + second, stop):
                placed[index] = _in_zone(moments[index], zone, 1)
            warnings.append(
                f"The clock was set back that night: line {moments[start + second].line} is read "
                f"as the beginning of the second pass through the hour."
            )
        start = stop
    return [moment.astimezone(UTC) for moment in placed], warnings


def _in_zone(moment: LinedMoment, zone: ZoneInfo, fold: int) -> datetime:
    return moment.at.replace(tzinfo=zone, fold=fold) if moment.is_local else moment.at


def _comes_twice(moment: LinedMoment, zone: ZoneInfo) -> bool:
    if not moment.is_local:
        return False
    early = _in_zone(moment, zone, 0).utcoffset()
    late = _in_zone(moment, zone, 1).utcoffset()
    return early is not None and late is not None and early > late


def _second_pass(moments: Sequence[LinedMoment]) -> int | None:
    """Where the local time first fails to go forward; None when it never does."""
    for index, (before, after) in enumerate(pairwise(moments), 1):
        if after.at <= before.at:
            return index
    return None


def _skipped_message(moment: LinedMoment, zone: ZoneInfo) -> str:
    return (
        f"{moment.at:%Y-%m-%d %H:%M} does not exist in {zone.key}: the clock was set forward that "
        f"night. Send times with their offset from UTC, or check the time zone."
    )


def _twice_message(moment: LinedMoment, zone: ZoneInfo) -> str:
    return (
        f"{moment.at:%Y-%m-%d %H:%M} comes twice in {zone.key}: the clock was set back that "
        f"night, and the file does not show which of the two it is. Send times with their offset "
        f"from UTC, or as time since the start."
    )
