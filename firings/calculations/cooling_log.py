"""What a log says about cooling: how the kiln was driven, and how long each stretch of fall took.

All in hours since the power went off, and C. A log may be thinned; a hundred or two of its
readings are enough.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from firings.calculations.readings import GAP_MAX, Reading, require_time_order

Array = NDArray[np.float64]

READINGS_ENOUGH = 300
ROOM_C_USUAL = 20.0
ROOM_SPAN, ROOM_START = timedelta(hours=3), timedelta(hours=1)
# A cold kiln warms no room; how much of what a hot one warmed is gone at the end: ours.
COLD_C, HOT_SPAN_C, GAIN_GOES = 80.0, 400.0, 0.85
# A peak is over when the kiln lies so far below it: ours, above any noise.
OFF_PEAK_C = 8.0
PATH_STEP_H = 0.25
PATH_POINTS_MAX = 60
# The fall is cut where it reaches this share of the last cut: some fifteen stretches.
STRETCH_SHARE = 0.86
NEAR_SHARE = 0.95
# Around a cut, readings so near in time are levelled out against noise.
LEVEL_H, LEVEL_SHARE = 0.1, 0.03
LAST_LEVEL_H, LAST_LEVEL_SHARE = 0.4, 0.05
# What a reading may be wrong by, after levelling.
READING_ERROR_C = 0.6
POWER_GAP_SHARE_MAX = 0.25


@dataclass(frozen=True)
class Driven:
    """How the chamber was heated until the power went off at `off_at` (hours 0).

    energy_wh is what it took, None when the log does not say.
    """

    hours: Array
    temp_c: Array
    off_at: datetime
    energy_wh: float | None


@dataclass(frozen=True)
class Fall:
    """The fall so far: cuts at `hours` and `temp_c`, the first at the moment of power off.

    errors_h: by how much each cut's time may be wrong because its temperature may.
    """

    hours: Array
    temp_c: Array
    errors_h: Array

    @property
    def last_c(self) -> float:
        return float(self.temp_c[-1])


@dataclass(frozen=True)
class RoomSeen:
    """The room as taken, and whether anybody measured it."""

    room_c: float
    is_measured: bool


def thinned_readings(readings: Sequence[Reading]) -> list[Reading]:
    """Every so many of the readings, the last one always: enough for a forecast."""
    step = max(1, len(readings) // READINGS_ENOUGH)
    thinned = list(readings[::step])
    if readings and thinned[-1] != readings[-1]:
        thinned.append(readings[-1])
    return thinned


def hottest_c(reading: Reading) -> float:
    """The hottest zone: it decides when a kiln is at its limit."""
    return max(c for c in (reading.temp_c, reading.zone2_c, reading.zone3_c) if c is not None)


def room_seen(readings: Sequence[Reading], room_c: float | None = None) -> RoomSeen:
    """The room as it will be, from its measured series; else room_c, as somebody says; else 20 C.

    A hot kiln warms its room. What the room has gained since the kiln was cold goes again as the
    kiln cools, so of a hot kiln's room most of that gain is left out.
    """
    measured = [(r.at, r.room_c) for r in readings if r.room_c is not None]
    if not measured:
        return RoomSeen(ROOM_C_USUAL if room_c is None else room_c, is_measured=room_c is not None)
    (first_at, _), (last_at, _) = measured[0], measured[-1]
    late_c = float(np.mean([c for at, c in measured if at >= last_at - ROOM_SPAN]))
    early_c = float(np.mean([c for at, c in measured if at <= first_at + ROOM_START]))
    began_cold = hottest_c(readings[0]) < COLD_C
    gained_c = max(0.0, late_c - early_c) if began_cold else 0.0
    heat = min(max((hottest_c(readings[-1]) - COLD_C) / HOT_SPAN_C, 0.0), 1.0)
    return RoomSeen(late_c - GAIN_GOES * heat * gained_c, is_measured=True)


def power_off_index(readings: Sequence[Reading]) -> int | None:
    """Index of the reading at which the fall began; None while the kiln is driven.

    Power or duty tell it where they are logged, else the last reading near the peak does.
    Raises ValueError when readings are out of order.
    """
    require_time_order(readings)
    if len(readings) < 2:
        return None
    temps = [hottest_c(reading) for reading in readings]
    peak = max(range(len(temps)), key=lambda index: (temps[index], index))
    last_powered = max(
        (index for index, r in enumerate(readings) if (r.power_w or 0) > 0 or (r.duty or 0) > 0),
        default=-1,
    )
    start = max(last_powered, _last_near_peak(temps, peak))
    is_falling = start < len(readings) - 1 and temps[-1] < temps[start] - OFF_PEAK_C
    return start if is_falling else None


def _last_near_peak(temps: Sequence[float], peak: int) -> int:
    index = peak
    while index + 1 < len(temps) and temps[index + 1] > temps[peak] - OFF_PEAK_C / 2:
        index += 1
    return index


def driven_part(
    readings: Sequence[Reading],
    started_at: datetime,
    room_c: float,
    rated_power_w: float,
    *,
    is_planned: bool = False,
) -> Driven:
    """How the chamber was heated, on a coarse grid, up to the last of the readings given.

    A log that begins late is led up to its first reading straight from the room. Where the end
    is only planned (`is_planned`), nobody knows the energy yet.
    Raises ValueError when there is no reading.
    """
    if not readings:
        raise ValueError("readings must hold one reading at least")
    off_at = readings[-1].at
    hours = [_hours(reading.at, off_at) for reading in readings]
    temps = [hottest_c(reading) for reading in readings]
    start_h = _hours(started_at, off_at)
    if start_h < hours[0] - 0.02:
        hours, temps = [start_h, *hours], [room_c, *temps]
    if hours[0] >= -PATH_STEP_H:
        hours, temps = [hours[0] - 1.0, *hours], [room_c, *temps]
    count = min(PATH_POINTS_MAX, max(4, math.ceil(-hours[0] / PATH_STEP_H) + 1))
    grid = np.linspace(hours[0], 0.0, count)
    energy_wh = None if is_planned else _energy_wh(readings, rated_power_w)
    return Driven(grid, np.interp(grid, hours, temps), off_at, energy_wh)


def _energy_wh(readings: Sequence[Reading], rated_power_w: float) -> float | None:
    """Register, power or duty over the readings given; None where a quarter is not covered."""
    registers = [r.register_wh for r in readings if r.register_wh is not None]
    if len(registers) > 1 and registers[-1] > registers[0]:
        return registers[-1] - registers[0]
    energy_wh = covered_h = 0.0
    for earlier, later in pairwise(readings):
        step = later.at - earlier.at
        watts = later.power_w
        if watts is None and later.duty is not None:
            watts = later.duty * rated_power_w
        if watts is not None and step <= GAP_MAX:
            hours = step / timedelta(hours=1)
            covered_h, energy_wh = covered_h + hours, energy_wh + watts * hours
    span_h = (readings[-1].at - readings[0].at) / timedelta(hours=1)
    if not energy_wh or covered_h < (1 - POWER_GAP_SHARE_MAX) * span_h:
        return None
    return energy_wh


def fall_part(readings: Sequence[Reading], room_c: float) -> Fall:
    """Cut the fall into stretches. The first reading is the one at which the power went off.

    Raises ValueError for less than two readings.
    """
    if len(readings) < 2:
        raise ValueError(f"readings must be two at least, not {len(readings)}")
    hours = np.array([_hours(reading.at, readings[0].at) for reading in readings])
    temps = np.array([hottest_c(reading) for reading in readings])
    cuts = [(0.0, float(temps[0]))]
    for index in range(1, len(hours) - 1):
        if temps[index] > STRETCH_SHARE * cuts[-1][1] or temps[index] < room_c + 5:
            continue
        temp_c = _levelled(hours, temps, float(hours[index]), LEVEL_H, LEVEL_SHARE)
        if temp_c < cuts[-1][1]:
            cuts.append((float(hours[index]), temp_c))
    last_c = _levelled(hours, temps, float(hours[-1]), LAST_LEVEL_H, LAST_LEVEL_SHARE)
    if len(cuts) > 1 and last_c > NEAR_SHARE * cuts[-1][1]:
        cuts.pop()
    if last_c < cuts[-1][1]:
        cuts.append((float(hours[-1]), last_c))
    cut_h, cut_c = np.array([h for h, _ in cuts]), np.array([c for _, c in cuts])
    return Fall(cut_h, cut_c, _errors_h(cut_h, cut_c))


def _levelled(hours: Array, temps: Array, at_h: float, width_h: float, share: float) -> float:
    """The temperature at a moment, from a straight line through the readings around it."""
    near = np.abs(hours - at_h) <= width_h + share * at_h
    near[0] = False  # the bend at power off would tilt the line
    if near.sum() < 3:
        return float(np.interp(at_h, hours, temps))
    offset_h, around_c = hours[near] - at_h, temps[near]
    mean_h, mean_c = offset_h.mean(), around_c.mean()
    spread = ((offset_h - mean_h) ** 2).sum()
    slope = ((offset_h - mean_h) * (around_c - mean_c)).sum() / spread
    return float(mean_c - slope * mean_h)


def _errors_h(hours: Array, temps: Array) -> Array:
    if len(hours) < 2:
        return np.zeros(len(hours))
    rates = np.diff(temps) / np.maximum(np.diff(hours), 1e-3)
    rates = np.append(rates, rates[-1])
    return READING_ERROR_C / np.maximum(np.abs(rates), 1.0)


def _hours(at: datetime, since: datetime) -> float:
    return (at - since) / timedelta(hours=1)
