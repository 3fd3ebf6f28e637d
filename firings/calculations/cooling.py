"""How things cool: Newton's law, and when a kiln may be looked at.

Newton's law of cooling, in lumped form: the difference to the surroundings falls by the factor e
in each time constant. Source: Lienhard & Lienhard, A Heat Transfer Textbook, chapter 1; Cengel,
Heat and Mass Transfer, chapter 4. One exponential does not describe a kiln, so the forecast uses
a network of heat stores (cooling_model.py) with habits learned from the kiln's closed firings
(cooling_prior.py), fitted to the firing so far (cooling_fit.py).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from firings.calculations.cooling_fit import outlook
from firings.calculations.cooling_log import (
    Fall,
    driven_part,
    fall_part,
    hottest_c,
    power_off_index,
    room_seen,
    thinned_readings,
)
from firings.calculations.cooling_plan import PlannedSegment, rest_of_schedule
from firings.calculations.cooling_prior import CHECKED_C, KilnCooling
from firings.calculations.readings import GAP_MAX, Reading

Array = NDArray[np.float64]

# So many ways in which the firing may go on; with the same draws each time, so that the same
# readings give the same forecast.
WAYS_COUNT = 1000
LOW, HIGH = 0.1, 0.9
# How far a programme that still runs may end from its plan, as a share of what is left and in
# hours: common practice, no source.
PLAN_ERROR_SHARE, PLAN_ERROR_H = 0.08, 0.1
ROOM_CLEAR_C = 3.0


def time_to_reach_s(
    start_c: float, target_c: float, ambient_c: float, time_constant_s: float
) -> float:
    """Return the seconds from start_c to target_c, cooling or warming.

    Raises ValueError when target_c does not lie between start_c and ambient_c (the ambient
    itself is never reached), or when the constant is not above 0.
    """
    if not time_constant_s > 0:
        raise ValueError(f"time_constant_s must be above 0, not {time_constant_s!r}")
    if target_c == start_c:
        return 0.0
    ratio = (start_c - ambient_c) / (target_c - ambient_c) if target_c != ambient_c else 0.0
    if not ratio > 1:
        raise ValueError(
            f"target_c {target_c!r} must lie between start_c {start_c!r} and "
            f"ambient_c {ambient_c!r}"
        )
    return time_constant_s * math.log(ratio)


class Phase(StrEnum):
    """Where a firing stands, seen from its fall."""

    BEFORE = "before"
    FALLING = "falling"
    REACHED = "reached"


@dataclass(frozen=True)
class Asked:
    """What a forecast is asked from.

    readings: the firing's, in order of time; some hundreds are enough. schedule: what the kiln was
    set to do, for as long as it has not ended (`is_over`). room_c: what somebody says of the
    room; a measured series goes before it. is_assumed: nobody measured the reading given.
    """

    kiln: KilnCooling
    readings: Sequence[Reading]
    started_at: datetime
    rated_power_w: float
    limit_c: float
    schedule: Sequence[PlannedSegment] = ()
    is_over: bool = False
    room_c: float | None = None
    is_assumed: bool = False


@dataclass(frozen=True)
class _Ways:
    """Ways the fall may go: hours since the power goes off (way, cut) at the temperatures temp_c.

    Before the power is off each way has its own moment for that (`off_h`, from the last reading).
    """

    since: datetime
    temp_c: Array
    hours: Array
    off_h: Array


@dataclass(frozen=True)
class CoolingForecast:
    """When a kiln may have come down to the studio's limit. A reason to go and look, no more.

    earliest_at and latest_at bound 80 of 100 cases; likely_at is the middle. It rests on `last_c`
    (the hottest zone), read `silent_s` before the moment of asking, on `room_c`, and on
    `firings_count` closed firings of this kiln. `off_at` is when the power went off, or may go.
    """

    phase: Phase
    earliest_at: datetime
    likely_at: datetime
    latest_at: datetime
    off_at: datetime
    last_c: float
    room_c: float
    is_room_measured: bool
    firings_count: int
    limit_c: float
    silent_s: float
    is_assumed: bool = False
    ways: _Ways | None = field(default=None, repr=False, compare=False)

    @property
    def is_silent(self) -> bool:
        """Whether it may have gone otherwise since: no reading has come for too long."""
        return self.silent_s > GAP_MAX.total_seconds()

    @property
    def is_reached(self) -> bool:
        return self.phase == Phase.REACHED

    @property
    def is_before(self) -> bool:
        return self.phase == Phase.BEFORE


@dataclass(frozen=True)
class BandPoint:
    """The forecast band at one moment, in C."""

    at: datetime
    low_c: float
    likely_c: float
    high_c: float


def forecast_cooling(asked: Asked, at: datetime) -> CoolingForecast | None:
    """Forecast when the hottest zone will read the limit, seen from the moment `at`.

    While the programme runs its rest is reckoned from the schedule; from then on the fall so far
    tells ever more. No time lies before `at`, except when the log shows that the limit has been
    passed. None when nothing can be said: no reading, no schedule while the kiln is heated, or
    a room within 3 C of the limit. Raises ValueError when readings are out of order.
    """
    readings = thinned_readings([reading for reading in asked.readings if reading.at <= at])
    room = room_seen(readings, asked.room_c)
    if not readings or asked.limit_c < room.room_c + ROOM_CLEAR_C:
        return None
    off = power_off_index(readings)
    if off is None and asked.is_over:
        off = len(readings) - 1
    if off is not None and hottest_c(readings[-1]) <= asked.limit_c:
        return _already_there(asked, readings, off, at)
    if off is not None:
        return _falling(asked, readings, off, at)
    return _before(asked, readings, at)


def _falling(
    asked: Asked, readings: Sequence[Reading], off: int, at: datetime
) -> CoolingForecast | None:
    room = room_seen(readings, asked.room_c)
    driven = driven_part(readings[: off + 1], asked.started_at, room.room_c, asked.rated_power_w)
    has_fallen = off < len(readings) - 1
    fall = fall_part(readings[off:], room.room_c) if has_fallen else at_peak(readings[off])
    if fall.last_c <= asked.limit_c:  # levelled out against noise it is there already
        return _already_there(asked, readings, off, at)
    ahead = outlook(asked.kiln, driven, fall, room, asked.limit_c)
    width = asked.kiln.width_at(
        fall.last_c if len(fall.hours) > 1 else CHECKED_C[0],
        is_room_measured=room.is_measured,
        is_load_known=driven.energy_wh is not None,
    )
    off_h = np.zeros(WAYS_COUNT)
    ways = _Ways(readings[-1].at, ahead.temp_c, _drawn(ahead.mean, ahead.spread, width), off_h)
    return _forecast(asked, readings, Phase.FALLING, ways, driven.off_at, at)


def _before(asked: Asked, readings: Sequence[Reading], at: datetime) -> CoolingForecast | None:
    rest = rest_of_schedule(readings, asked.schedule)
    if rest is None:
        return None
    room = room_seen(readings, asked.room_c)
    driven = driven_part(
        [*readings, *rest.readings], asked.started_at, room.room_c, asked.rated_power_w,
        is_planned=True,
    )  # fmt: skip
    peak = at_peak(rest.readings[-1])
    if peak.last_c <= asked.limit_c:
        return None
    ahead = outlook(asked.kiln, driven, peak, room, asked.limit_c)
    width = asked.kiln.width_at(
        CHECKED_C[0], is_room_measured=room.is_measured, is_load_known=False
    )
    hours = _drawn(ahead.mean, ahead.spread, width)
    error_h = math.hypot(PLAN_ERROR_SHARE * rest.hours, PLAN_ERROR_H)
    off_h = np.maximum(rest.hours + error_h * _draws(1, seed=2)[:, 0], 0.0)
    ways = _Ways(readings[-1].at, ahead.temp_c, hours, off_h)
    off_at = readings[-1].at + timedelta(hours=rest.hours)
    return _forecast(asked, readings, Phase.BEFORE, ways, off_at, at)


def at_peak(reading: Reading) -> Fall:
    """A fall that has not begun."""
    return Fall(np.zeros(1), np.array([hottest_c(reading)]), np.zeros(1))


def _forecast(
    asked: Asked,
    readings: Sequence[Reading],
    phase: Phase,
    ways: _Ways,
    off_at: datetime,
    at: datetime,
) -> CoolingForecast:
    arrive_h = ways.off_h + ways.hours[:, -1]
    earliest, likely, latest = (
        max(at, ways.since + timedelta(hours=float(hours)))
        for hours in np.quantile(arrive_h, [LOW, 0.5, HIGH])
    )
    room = room_seen(readings, asked.room_c)
    return CoolingForecast(
        phase=phase,
        earliest_at=earliest,
        likely_at=likely,
        latest_at=latest,
        off_at=off_at,
        last_c=hottest_c(readings[-1]),
        room_c=room.room_c,
        is_room_measured=room.is_measured,
        firings_count=asked.kiln.firings_count,
        limit_c=asked.limit_c,
        silent_s=(at - readings[-1].at).total_seconds(),
        is_assumed=asked.is_assumed,
        ways=ways,
    )


def _already_there(
    asked: Asked, readings: Sequence[Reading], off: int, at: datetime
) -> CoolingForecast:
    index = len(readings) - 1
    while index > off + 1 and hottest_c(readings[index - 1]) <= asked.limit_c:
        index -= 1
    reached_at = readings[index].at
    room = room_seen(readings, asked.room_c)
    return CoolingForecast(
        Phase.REACHED, reached_at, reached_at, reached_at, readings[off].at,
        hottest_c(readings[-1]), room.room_c, room.is_measured, asked.kiln.firings_count,
        asked.limit_c, (at - readings[-1].at).total_seconds(),
    )  # fmt: skip


def _drawn(mean: Array, spread: Array, width: float) -> Array:
    """Hours since the last cut at every cut, for each way; the first cut is now, at 0."""
    sizes, ways = np.linalg.eigh(spread)
    root = ways * np.sqrt(np.maximum(sizes, 0.0))
    stretches = np.exp(mean + width * _draws(len(mean), seed=1) @ root.T)
    return np.hstack([np.zeros((WAYS_COUNT, 1)), np.cumsum(stretches, axis=1)])


def _draws(count: int, seed: int) -> Array:
    """Standard normal draws, each with its mirror image, so that the middle is the middle."""
    half = np.random.default_rng(seed).standard_normal((WAYS_COUNT // 2, count))
    return np.vstack([half, -half])


def forecast_band(forecast: CoolingForecast, points: int = 40) -> list[BandPoint]:
    """The band a curve shows: from the last reading, or the end of the programme, to the limit.

    Points are spread evenly in time up to `latest_at`; low_c and high_c bound 80 of 100 ways at
    each moment. Empty when the limit is reached. Raises ValueError for less than 2 points.
    """
    if points < 2:
        raise ValueError(f"points must be 2 or more, not {points!r}")
    ways = forecast.ways
    if ways is None:
        return []
    start_h = float(np.median(ways.off_h))
    end_h = float(np.quantile(ways.off_h + ways.hours[:, -1], HIGH))
    moments = np.linspace(start_h, max(end_h, start_h + 0.1), points)
    temps = np.array([
        np.interp(moments, off_h + hours, ways.temp_c)
        for off_h, hours in zip(ways.off_h, ways.hours, strict=True)
    ])  # fmt: skip
    low, likely, high = np.quantile(temps, [LOW, 0.5, HIGH], axis=0)
    return [
        BandPoint(ways.since + timedelta(hours=float(hour)), *(round(float(c), 1) for c in row))
        for hour, *row in zip(moments, low, likely, high, strict=True)
    ]
