"""What is left of a kiln's programme, reckoned from its schedule and the firing so far."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from firings.calculations.cooling_log import hottest_c
from firings.calculations.readings import Reading

AT_TARGET_C = 5.0
# A kiln that heats at another rate than set is believed, within these bounds: ours, no source.
PACE_SPAN = timedelta(hours=1)
PACE_HOURS_MIN = 0.4
PACE_MIN, PACE_MAX = 0.4, 1.3


@dataclass(frozen=True)
class PlannedSegment:
    """Go to target_c at rate_c_per_h (a size, above 0, up or down), then hold."""

    rate_c_per_h: float
    target_c: float
    hold_minutes: float = 0.0


@dataclass(frozen=True)
class RestOfSchedule:
    """Hours until the programme ends, and the temperatures on the way as readings to come."""

    hours: float
    readings: tuple[Reading, ...]


def rest_of_schedule(
    readings: Sequence[Reading], schedule: Sequence[PlannedSegment]
) -> RestOfSchedule | None:
    """What the kiln has still to do after the last reading; None without a schedule.

    A ramp counts as done when the log has reached its target. The ramp that runs goes on at the
    kiln's own rate of the last hour, where that is plausible; a hold is counted from when the log
    came to its target. Raises ValueError for a rate that is not above 0 and without a reading.
    """
    if not readings:
        raise ValueError("readings must hold one reading at least")
    for segment in schedule:
        if not segment.rate_c_per_h > 0:
            raise ValueError(f"rate_c_per_h must be above 0, not {segment.rate_c_per_h!r}")
    if not schedule:
        return None
    left, held_h, began = _segments_left(readings, schedule)
    last, ahead = readings[-1], [readings[-1]]
    temp_c, moment_h = hottest_c(last), 0.0
    for number, segment in enumerate(left):
        pace = _pace(readings[began:], segment) if number == 0 else 1.0
        moment_h += abs(segment.target_c - temp_c) / (segment.rate_c_per_h * pace)
        temp_c = segment.target_c
        ahead.append(Reading(_later(last.at, moment_h, ahead[-1].at), temp_c))
        hold_h = segment.hold_minutes / 60 - (held_h if number == 0 else 0.0)
        if hold_h > 0:
            moment_h += hold_h
            ahead.append(Reading(_later(last.at, moment_h, ahead[-1].at), temp_c))
    if len(ahead) == 1:  # the programme should have ended: it may at any moment
        ahead.append(Reading(last.at + timedelta(minutes=1), temp_c))
    return RestOfSchedule(moment_h, tuple(ahead[1:]))


def _later(since: datetime, hours: float, after: datetime) -> datetime:
    """Readings must rise in time, also where a ramp takes no time at all."""
    return max(since + timedelta(hours=hours), after + timedelta(seconds=1))


def _segments_left(
    readings: Sequence[Reading], schedule: Sequence[PlannedSegment]
) -> tuple[list[PlannedSegment], float, int]:
    """The segments from the one that runs on, the hours its hold has lasted, and its beginning.

    The beginning is the index of a reading.
    """
    index = began = 0
    for number, segment in enumerate(schedule):
        from_c = schedule[number - 1].target_c if number else -273.0
        came_at: datetime | None = None
        while index < len(readings):
            temp_c = hottest_c(readings[index])
            is_up = segment.target_c >= from_c
            gap_c = segment.target_c - temp_c if is_up else temp_c - segment.target_c
            if gap_c <= AT_TARGET_C:
                came_at = readings[index].at
                break
            index += 1
        if came_at is None:
            return list(schedule[number:]), 0.0, began
        held_h = (readings[-1].at - came_at) / timedelta(hours=1)
        if held_h < segment.hold_minutes / 60:
            return list(schedule[number:]), held_h, began
        began = index + _held(readings[index:], segment)
    return [], 0.0, began


def _held(readings: Sequence[Reading], segment: PlannedSegment) -> int:
    """How many readings the segment's hold takes."""
    until = readings[0].at + timedelta(minutes=segment.hold_minutes)
    return sum(reading.at < until for reading in readings)


def _pace(readings: Sequence[Reading], segment: PlannedSegment) -> float:
    """How fast the kiln heats in this ramp, as a share of the rate set."""
    if not readings or hottest_c(readings[-1]) >= segment.target_c - AT_TARGET_C:
        return 1.0
    last = readings[-1]
    late = [reading for reading in readings if last.at - reading.at <= PACE_SPAN]
    hours = (last.at - late[0].at) / timedelta(hours=1)
    if hours < PACE_HOURS_MIN:
        return 1.0
    rate = (hottest_c(last) - hottest_c(late[0])) / hours
    return min(max(rate / segment.rate_c_per_h, PACE_MIN), PACE_MAX)
