"""How things cool: Newton's law, and a rough forecast of when a kiln may be looked at.

Newton's law of cooling, in lumped form: the difference to the surroundings falls by the factor e
in each time constant. Source: Lienhard & Lienhard, A Heat Transfer Textbook, chapter 1; Cengel,
Heat and Mass Transfer, chapter 4.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import NamedTuple

from firings.calculations.readings import GAP_MAX, Reading, require_time_order

# How much of a log a fit needs, and how straight it must be: ours, no source.
FIT_WINDOW = timedelta(minutes=90)
FIT_SPAN_MIN = timedelta(minutes=15)
FIT_FALL_C_MIN = 3.0
FIT_COUNT_MIN = 3
SLOPE_ERROR_MAX = 0.25
ROOM_MARGIN_C = 3.0
# A kiln's time constant grows as it cools: radiation fades, and heat deep in the brick comes out
# last. A brick wall reckoned in layers (kiln_simulation.py) needs 1.05 to 1.25 times as long as
# one exponential fitted while hot says; the bounds around it are ours: no source.
STRETCH_NEAR_LIMIT = 1.05
STRETCH_PER_C = 0.2 / 800
STRETCH_MAX = 1.25
EARLIEST_FACTOR = 0.85
LATEST_FACTOR = 1.35


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


@dataclass(frozen=True)
class CoolingForecast:
    """When a kiln may have come down to the studio's limit. A reason to go and look, no more.

    It rests on `last_c`, read `silent_s` before the moment of asking, and on `room_c`.
    `time_constant_s` is None when the limit has been passed already, at all three moments.
    """

    earliest_at: datetime
    likely_at: datetime
    latest_at: datetime
    last_c: float
    room_c: float
    time_constant_s: float | None
    silent_s: float

    @property
    def is_silent(self) -> bool:
        """Whether it may have gone otherwise since: no reading has come for too long."""
        return self.silent_s > GAP_MAX.total_seconds()


class _Fit(NamedTuple):
    temp_c: float
    time_constant_s: float
    slope_error: float


def forecast_cooling(
    readings: Sequence[Reading], room_c: float, limit_c: float, at: datetime
) -> CoolingForecast | None:
    """Forecast when the thermocouple will read limit_c, seen from the moment `at`.

    One exponential is fitted to the readings of the last 90 minutes with the power off, then
    stretched, because kilns cool ever more slowly. The range also allows for a room 3 C warmer
    or cooler and for the scatter of the fit. No time lies before `at`, except when the log shows
    that the limit has been passed.
    None when nothing honest can be said: no peak behind it, power on, under 3 readings, 15
    minutes or 3 C of cooling, too much scatter, or a room as warm as the limit.
    Raises ValueError when readings are out of order.
    """
    require_time_order(readings)
    cooling = _cooling_part([reading for reading in readings if reading.at <= at])
    if not cooling or limit_c <= room_c:
        return None
    if cooling[-1].temp_c <= limit_c:
        return _already_there(cooling, room_c, limit_c, at)
    fit = _fit_recent(cooling, room_c)
    if fit is None:
        return None
    plain_s = time_to_reach_s(fit.temp_c, limit_c, room_c, fit.time_constant_s)
    cool_room_s = time_to_reach_s(fit.temp_c, limit_c, room_c - ROOM_MARGIN_C, fit.time_constant_s)
    warm_room_c = min(room_c + ROOM_MARGIN_C, (room_c + limit_c) / 2)
    warm_room_s = time_to_reach_s(fit.temp_c, limit_c, warm_room_c, fit.time_constant_s)
    stretch = min(STRETCH_MAX, STRETCH_NEAR_LIMIT + STRETCH_PER_C * (fit.temp_c - limit_c))
    scatter = 2 * fit.slope_error
    last_at = cooling[-1].at

    def moment(seconds: float) -> datetime:
        return max(at, last_at + timedelta(seconds=seconds))

    return CoolingForecast(
        earliest_at=moment(cool_room_s * EARLIEST_FACTOR * (1 - scatter)),
        likely_at=moment(plain_s * stretch),
        latest_at=moment(warm_room_s * stretch * LATEST_FACTOR * (1 + scatter)),
        last_c=fit.temp_c,
        room_c=room_c,
        time_constant_s=fit.time_constant_s,
        silent_s=(at - last_at).total_seconds(),
    )


def _cooling_part(readings: Sequence[Reading]) -> list[Reading]:
    """Return what follows the peak and the last moment of power; empty when heating."""
    start = 0
    for index, reading in enumerate(readings):
        is_powered = bool(reading.power_w) or bool(reading.duty)
        if is_powered or reading.temp_c >= readings[start].temp_c:
            start = index
    return list(readings[start + 1 :])


def _already_there(
    cooling: Sequence[Reading], room_c: float, limit_c: float, at: datetime
) -> CoolingForecast:
    index = len(cooling) - 1
    while index > 0 and cooling[index - 1].temp_c <= limit_c:
        index -= 1
    reached_at = cooling[index].at
    last = cooling[-1]
    silent_s = (at - last.at).total_seconds()
    return CoolingForecast(reached_at, reached_at, reached_at, last.temp_c, room_c, None, silent_s)


def _fit_recent(cooling: Sequence[Reading], room_c: float) -> _Fit | None:
    """Fit ln(temperature - room) against time by a straight line."""
    last = cooling[-1]
    recent = [r for r in cooling if last.at - r.at <= FIT_WINDOW and r.temp_c > room_c + 1]
    if len(recent) < FIT_COUNT_MIN or last.temp_c <= room_c + 1:
        return None
    if last.at - recent[0].at < FIT_SPAN_MIN or recent[0].temp_c - last.temp_c < FIT_FALL_C_MIN:
        return None
    points = [((r.at - last.at).total_seconds(), math.log(r.temp_c - room_c)) for r in recent]
    mean_x = sum(x for x, _ in points) / len(points)
    mean_y = sum(y for _, y in points) / len(points)
    spread = sum((x - mean_x) ** 2 for x, _ in points)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in points) / spread
    level = mean_y - slope * mean_x
    residual = sum((y - level - slope * x) ** 2 for x, y in points)
    slope_error = math.sqrt(residual / (len(points) - 2) / spread) / abs(slope) if slope else 1.0
    if slope >= 0 or slope_error > SLOPE_ERROR_MAX:
        return None
    return _Fit(last.temp_c, -1 / slope, slope_error)
