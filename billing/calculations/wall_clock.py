"""Local days and clock changes: where a local day begins, and spans between two changes.

Durations are always taken in UTC: subtracting two datetimes of one zone across a clock change
is wrong by the change.
"""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta, tzinfo

# Two clock changes of one zone are never closer than this.
OFFSET_STEP = timedelta(hours=12)
MICROSECOND = timedelta(microseconds=1)


def day_start(day: date, zone: tzinfo) -> datetime:
    """The moment a local day begins, in UTC; the first one when midnight comes twice."""
    return datetime(day.year, day.month, day.day, tzinfo=zone).astimezone(UTC)


def next_month(month: date) -> date:
    """The first day of the month after the one `month` lies in."""
    return date(month.year + month.month // 12, month.month % 12 + 1, 1)


def spans_by_month(
    start_at: datetime, end_at: datetime, zone: tzinfo
) -> Iterator[tuple[date, datetime, datetime]]:
    """Cut [start_at, end_at) at local midnights that begin a month: (month, start, end) in UTC."""
    start_at, end_at = start_at.astimezone(UTC), end_at.astimezone(UTC)
    month = start_at.astimezone(zone).date().replace(day=1)
    while start_at < end_at:
        month_end = min(day_start(next_month(month), zone), end_at)
        if month_end > start_at:
            yield month, start_at, month_end
            start_at = month_end
        month = next_month(month)


def spans_of_one_offset(
    start_at: datetime, end_at: datetime, zone: tzinfo
) -> Iterator[tuple[datetime, datetime, timedelta]]:
    """Cut [start_at, end_at), in UTC, at the zone's clock changes: (start, end, UTC offset)."""
    while start_at < end_at:
        offset = offset_at(start_at, zone)
        step_end = min(start_at + OFFSET_STEP, end_at)
        # The offset is asked just before the end: a change at the end itself is the next span's.
        if offset_at(step_end - MICROSECOND, zone) != offset:
            step_end = _clock_change_at(start_at, step_end, zone)
        yield start_at, step_end, offset
        start_at = step_end


def offset_at(moment: datetime, zone: tzinfo) -> timedelta:
    """The zone's distance from UTC at a moment."""
    return moment.astimezone(zone).utcoffset() or timedelta()


def _clock_change_at(before_at: datetime, after_at: datetime, zone: tzinfo) -> datetime:
    """First moment after `before_at` with another offset, by halving down to a second."""
    offset = offset_at(before_at, zone)
    before_s, after_s = int(before_at.timestamp()), -int(-after_at.timestamp() // 1)
    while after_s - before_s > 1:
        middle_s = (before_s + after_s) // 2
        if offset_at(datetime.fromtimestamp(middle_s, UTC), zone) == offset:
            before_s = middle_s
        else:
            after_s = middle_s
    return datetime.fromtimestamp(after_s, UTC)
