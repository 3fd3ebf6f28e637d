"""What a closed firing teaches about how its kiln cools."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import numpy as np

from firings.calculations.cooling import Asked, at_peak
from firings.calculations.cooling_fit import learn_cooling, outlook
from firings.calculations.cooling_log import (
    Driven,
    Fall,
    driven_part,
    fall_part,
    hottest_c,
    power_off_index,
    room_seen,
    thinned_readings,
)
from firings.calculations.cooling_prior import CHECKED_C, KilnCooling
from firings.calculations.readings import Reading

# What a log must show to teach anything: ours, no source.
PEAK_C_MIN = 400.0
FALLEN_TO_SHARE = 0.4
CUTS_MIN = 4
ABOVE_ROOM_C, NEAR_ROOM_C = 12.0, 5.0
# A fall without a reading for so much of its time has not been seen.
GAP_SHARE_MAX = 0.5


def learn_from_firing(asked: Asked) -> KilnCooling | None:
    """The kiln's habits after this firing; None when its log shows too little of a fall.

    Forecasts are made of it as they would have been, with the habits from before it, and compared
    with what came: that teaches how wide a band must be. The firing's readings go up to its
    opening. Raises ValueError when they are out of order.
    """
    readings = thinned_readings(asked.readings)
    off = power_off_index(readings)
    if off is None or hottest_c(readings[off]) < PEAK_C_MIN:
        return None
    room = room_seen(readings, asked.room_c)
    fallen = _of_interest(readings[off:], room.room_c, asked.limit_c)
    if len(fallen) < CUTS_MIN or not _is_seen(fallen):
        return None
    driven = driven_part(readings[: off + 1], asked.started_at, room.room_c, asked.rated_power_w)
    fall = fall_part(fallen, room.room_c)
    if len(fall.temp_c) < CUTS_MIN or fall.last_c > FALLEN_TO_SHARE * hottest_c(readings[off]):
        return None
    # How far off a guess of an unknown kiln was says nothing of forecasts that rest on history.
    is_known = asked.kiln.firings_count > 0
    misses = [
        _miss(asked, readings[:off], fallen, driven, fall, checked_c) if is_known else None
        for checked_c in CHECKED_C
    ]
    learned = learn_cooling(asked.kiln, driven, fall, room, misses)
    return _described(learned, asked, max(hottest_c(reading) for reading in readings), fall)


def _of_interest(readings: Sequence[Reading], room_c: float, limit_c: float) -> list[Reading]:
    """The fall down to the limit, and no further than the room does not blur it."""
    lowest_c = max(room_c + ABOVE_ROOM_C, limit_c - 2)
    above = [reading for reading in readings if hottest_c(reading) > lowest_c]
    below = next((reading for reading in readings if hottest_c(reading) <= lowest_c), None)
    if below is not None and hottest_c(below) > room_c + NEAR_ROOM_C and below.at > above[-1].at:
        above.append(below)
    return above if len(above) > 1 else list(readings)


def _is_seen(readings: Sequence[Reading]) -> bool:
    span = readings[-1].at - readings[0].at
    widest = max(
        (later.at - earlier.at for earlier, later in pairwise(readings)),
        default=timedelta(0),
    )
    return span > timedelta(0) and widest <= GAP_SHARE_MAX * span


def _miss(
    asked: Asked,
    heated: Sequence[Reading],
    fallen: Sequence[Reading],
    driven: Driven,
    fall: Fall,
    checked_c: float,
) -> float | None:
    """A forecast of the last cut, made when the kiln was at checked_c (the first: at its peak)."""
    target_c, end_h = fall.last_c, float(fall.hours[-1])
    seen = [fallen[0]]
    if checked_c != CHECKED_C[0]:
        if not target_c < 0.7 * checked_c < 0.7 * hottest_c(fallen[0]):
            return None
        count = next((n for n, r in enumerate(fallen, 1) if hottest_c(r) <= checked_c), 0)
        seen = list(fallen[:count])
    room = room_seen([*heated, *seen], asked.room_c)
    so_far = fall_part(seen, room.room_c) if len(seen) > 1 else at_peak(seen[0])
    if not room.room_c < target_c < so_far.last_c:
        return None
    ahead = outlook(asked.kiln, driven, so_far, room, target_c)
    stretches = np.exp(ahead.mean)
    left_h, weights = float(stretches.sum()), stretches / stretches.sum()
    error = math.sqrt(float(weights @ ahead.spread @ weights))
    truth_h = end_h - (seen[-1].at - fallen[0].at) / timedelta(hours=1)
    return math.log(max(truth_h, 0.05) / left_h) / error if truth_h > 0 else None


def _described(learned: KilnCooling, asked: Asked, peak_c: float, fall: Fall) -> KilnCooling:
    """Running means for people: the peak, and the hours from there to the limit."""
    count = learned.firings_count
    usual_peak_c = asked.kiln.usual_peak_c
    mean_peak_c = peak_c if usual_peak_c is None else usual_peak_c + (peak_c - usual_peak_c) / count
    hours = asked.kiln.usual_hours
    if fall.last_c <= asked.limit_c + 3:
        came_h = float(np.interp(-asked.limit_c, -fall.temp_c, fall.hours))
        hours = came_h if hours is None else hours + (came_h - hours) / count
    return replace(
        learned,
        usual_peak_c=round(mean_peak_c, 1),
        usual_hours=None if hours is None else round(hours, 2),
    )
