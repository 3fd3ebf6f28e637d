"""The summary of a firing's log, kept up to date batch by batch.

A summary is never worked out again from the first reading: each batch is added to the one
before, and takes as long as the batch is long. When readings arrive for a time that is already
summarised, the caller starts over from an earlier summary that it has kept. Both ways give the
same summary, but for rounding in the last digits.

Time between two readings more than 30 minutes apart is a gap: it adds no hot time, no stage, no
power, no hold and no heating rate, because nobody knows what the kiln did. `gap_seconds` says how
much that was. Only heat work bridges a gap, by a straight line, and says so.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

import numpy as np

from firings.calculations.firing_stages import TOP, TOP_C, StageTime, add_climb, add_stages
from firings.calculations.heat_work import HeatWork, add_heat
from firings.calculations.reading_columns import (
    US_PER_S,
    Floats,
    Ints,
    ReadingColumns,
    moment_of,
    us_of,
)
from firings.calculations.readings import GAP_MAX, Reading, require_time_order

# The shape of what `to_json` writes. Version 1 had no stages, heat work, energy nor extremes.
VERSION = 2
# Elements hardly wear below it. Common practice, no source.
HOT_FROM_C = 600
# Wear doubles about every 57 C (see billing's wear): wider classes would level cone 6 with 10.
HOT_CLASS_C = 25
# How still a hold is, and how long a rate is taken over: ours, no source.
HOLD_BAND_C = 5.0
RATE_WINDOW = timedelta(hours=1)
RATE_WINDOW_MIN = timedelta(minutes=10)
RATE_POINT_SPACING = timedelta(minutes=5)
EXTREMES_OF = ("temp_c", "zone2_c", "zone3_c", "room_c", "control_box_c")

Point = tuple[datetime, float]
_GAP_MAX_US = GAP_MAX // timedelta(microseconds=1)
_SPACING_US = RATE_POINT_SPACING // timedelta(microseconds=1)
_WINDOW_US = RATE_WINDOW // timedelta(microseconds=1)


@dataclass(frozen=True)
class FiringSummary:
    """What a firing's readings up to `last_at` amount to. Times are aware, temperatures C.

    hot_seconds: lower bound of a class of 25 C, from 600 C -> seconds spent in that class.
    heating_rate_c_per_h: over about the last hour; negative when cooling; None until there are
    10 minutes of readings since the start or the last gap.
    hold_seconds: how long the temperature has now stayed within 5 C of where the hold began.
    peak_hold_seconds: the same for the hold that the peak lies in.
    stage_steps: stage -> (seconds, degrees gone) in it, see `stages`. climb_s: level of 10 C ->
    seconds from the first reading until it was first reached. extremes: field -> (lowest,
    highest). power_wh: the integral of power over the power_seconds in which it is known.
    """

    version: int = VERSION
    readings_count: int = 0
    first_at: datetime | None = None
    last_at: datetime | None = None
    last_temp_c: float | None = None
    peak_c: float | None = None
    peak_at: datetime | None = None
    hot_seconds: dict[int, float] = field(default_factory=dict)
    gaps_count: int = 0
    gap_seconds: float = 0.0
    heating_rate_c_per_h: float | None = None
    hold_started_at: datetime | None = None
    hold_c: float | None = None
    hold_seconds: float = 0.0
    peak_hold_started_at: datetime | None = None
    peak_hold_seconds: float = 0.0
    rate_points: tuple[Point, ...] = ()
    stage_steps: dict[str, tuple[float, float]] = field(default_factory=dict)
    climb_s: dict[int, float] = field(default_factory=dict)
    extremes: dict[str, tuple[float, float]] = field(default_factory=dict)
    heat: HeatWork = field(default_factory=HeatWork)
    register_first_wh: float | None = None
    register_last_wh: float | None = None
    power_wh: float = 0.0
    power_seconds: float = 0.0
    last_power_w: float | None = None

    @property
    def register_span_wh(self) -> float | None:
        """What the meter has counted from its first reading in the log to its last."""
        if self.register_first_wh is None or self.register_last_wh is None:
            return None
        return self.register_last_wh - self.register_first_wh

    def stages(self) -> tuple[StageTime, ...]:
        """Return the stages gone through so far, in their order; see firing_stages.py."""
        times = []
        for name, (seconds, degrees) in self.stage_steps.items():
            if seconds > 0:
                rate = degrees / seconds * 3600 if degrees else None
                times.append(StageTime(name, seconds, rate))
        top_s = self._seconds_above(self.peak_c - TOP_C) if self.peak_c is not None else 0.0
        if top_s > 0:
            times.append(StageTime(TOP, top_s, self.top_rate_c_per_h()))
        return tuple(times)

    def top_rate_c_per_h(self) -> float | None:
        """Return the heating rate over the last 100 C before the peak; None for less of a climb."""
        if self.peak_c is None or self.first_at is None or self.peak_at is None:
            return None
        below = int((self.peak_c - TOP_C) // 10) * 10
        since_s = self.climb_s.get(below)
        until_s = (self.peak_at - self.first_at).total_seconds()
        if since_s is None or until_s <= since_s:
            return None
        return (self.peak_c - below) / (until_s - since_s) * 3600

    def _seconds_above(self, low_c: float) -> float:
        """Time above a temperature, even within the one class it cuts; 600 C or more."""
        return sum(
            seconds * min(1.0, (class_c + HOT_CLASS_C - low_c) / HOT_CLASS_C)
            for class_c, seconds in self.hot_seconds.items()
            if class_c + HOT_CLASS_C > low_c >= HOT_FROM_C
        )

    def to_json(self) -> dict[str, Any]:
        """Return the summary as a dict that JSON can carry; times as ISO 8601."""
        values: dict[str, Any] = {
            name: value.isoformat() if isinstance(value, datetime) else value
            for name, value in vars(self).items()
        }
        for name in ("hot_seconds", "climb_s"):
            values[name] = {str(key): seconds for key, seconds in values[name].items()}
        values["rate_points"] = [[at.isoformat(), temp_c] for at, temp_c in self.rate_points]
        values["heat"] = self.heat.to_json()
        return values

    @classmethod
    def from_json(cls, values: dict[str, Any]) -> FiringSummary:
        """Return the summary that `to_json` gave. An empty dict is an empty summary.

        What version 1 wrote is read too; `version` then stays 1, and what is newer stays empty:
        work it out once from the log.
        """
        known: dict[str, Any] = {
            name: datetime.fromisoformat(value) if name.endswith("_at") and value else value
            for name, value in values.items()
        }
        if values:
            known.setdefault("version", 1)
        for name in ("hot_seconds", "climb_s"):
            known[name] = {int(key): s for key, s in values.get(name, {}).items()}
        for name in ("stage_steps", "extremes"):
            known[name] = {key: tuple(pair) for key, pair in values.get(name, {}).items()}
        known["rate_points"] = tuple(
            (datetime.fromisoformat(at), temp_c) for at, temp_c in values.get("rate_points", ())
        )
        if "heat" in values:
            known["heat"] = HeatWork.from_json(values["heat"])
        return cls(**known)


def summarise(readings: Sequence[Reading]) -> FiringSummary:
    """Return the summary of a whole log. Raises ValueError when it is out of order."""
    return add_readings(FiringSummary(), None, readings)


def add_readings(
    summary: FiringSummary, previous_reading: Reading | None, new_readings: Sequence[Reading]
) -> FiringSummary:
    """Return the summary with new readings added; the one given is left as it is.

    previous_reading is the last reading already summarised, None when there is none: it proves
    that the batch belongs to this summary. Raises ValueError when it does not match the summary,
    and when readings are out of order or not later than it.
    """
    previous_at = previous_reading.at if previous_reading else None
    if previous_at != summary.last_at:
        raise ValueError(
            f"previous_reading is at {previous_at}, but the summary ends at {summary.last_at}"
        )
    if not isinstance(new_readings, ReadingColumns):
        require_time_order([*([previous_reading] if previous_reading else []), *new_readings])
        new_readings = ReadingColumns.of(new_readings)
    return add_columns(summary, new_readings)


def add_columns(summary: FiringSummary, batch: ReadingColumns) -> FiringSummary:
    """Return the summary with a batch added that follows it, in order of time.

    Raises ValueError when it is out of order or does not begin after the summary's end.
    """
    if not len(batch):
        return summary
    is_first = summary.last_at is None
    at_us, temp_c = batch.at_us, batch.values["temp_c"]
    if summary.last_at is not None and summary.last_temp_c is not None:
        at_us = np.concatenate(([us_of(summary.last_at)], at_us))
        temp_c = np.concatenate(([summary.last_temp_c], temp_c))
    if len(at_us) > 1 and not (np.diff(at_us) > 0).all():
        raise ValueError("readings are out of order, or not later than the summary's end")
    tally = _Tally(summary, at_us, temp_c, is_first=is_first)
    tally.add_steps()
    tally.follow_holds()
    tally.follow_rate()
    tally.add_energy(batch)
    tally.add_extremes(batch)
    return tally.summary(len(batch))


class _Tally:
    """A summary while a batch is being added.

    The columns begin with the last reading added before, if there was any: each new reading then
    has a step that leads to it.
    """

    def __init__(
        self, summary: FiringSummary, at_us: Ints, temp_c: Floats, *, is_first: bool
    ) -> None:
        self.before = summary
        self.values: dict[str, Any] = dict(vars(summary))
        self.at_us, self.temp_c, self.is_first = at_us, temp_c, is_first
        self.first_at = summary.first_at or moment_of(at_us[0])
        self.is_gap = np.diff(at_us) > _GAP_MAX_US

    def add_steps(self) -> None:
        """Hot time, gaps, stages, the climb and heat work: what adds up step by step."""
        before, temp_c = self.before, self.temp_c
        peak_c = -math.inf if before.peak_c is None else before.peak_c
        seconds = np.diff(self.at_us) / US_PER_S
        self.values["gaps_count"] += int(self.is_gap.sum())
        self.values["gap_seconds"] += float(seconds[self.is_gap].sum())
        known = ~self.is_gap
        start_c, end_c = temp_c[:-1][known], temp_c[1:][known]
        highest = np.maximum(np.maximum.accumulate(temp_c), peak_c)[1:][known]
        self.values["hot_seconds"] = _add_hot_time(
            before.hot_seconds, seconds[known], start_c, end_c
        )
        self.values["stage_steps"] = add_stages(
            before.stage_steps, seconds[known], start_c, end_c, highest
        )
        elapsed_s = (self.at_us - us_of(self.first_at)) / US_PER_S
        climbed_c = float(temp_c[0]) if self.is_first else peak_c
        self.values["climb_s"] = add_climb(before.climb_s, elapsed_s, temp_c, climbed_c)
        self.values["heat"] = add_heat(before.heat, self.at_us, temp_c)

    def follow_holds(self) -> None:
        """Follow hold after hold through the batch, and the peak through the holds."""
        values, first = self.values, 0 if self.is_first else 1
        temps, times = self.temp_c.tolist(), self.at_us.tolist()
        gaps = [False, *self.is_gap.tolist()]
        hold_c = self.before.hold_c
        started_us = us_of(self.before.hold_started_at) if self.before.hold_started_at else 0
        peak_c = -math.inf if self.before.peak_c is None else self.before.peak_c
        peak_us = us_of(self.before.peak_at) if self.before.peak_at else 0
        at_peak = self.before.peak_hold_started_at
        peak_started_us = us_of(at_peak) if at_peak else -1
        peak_hold_us = round(self.before.peak_hold_seconds * US_PER_S)
        for place in range(first, len(temps)):
            temp_c = temps[place]
            if hold_c is None or gaps[place] or abs(temp_c - hold_c) > HOLD_BAND_C:
                started_us, hold_c = times[place], temp_c
            if temp_c > peak_c:
                peak_c, peak_us, peak_started_us = temp_c, times[place], started_us
            if peak_started_us == started_us:
                peak_hold_us = times[place] - started_us
        values["hold_c"], values["hold_started_at"] = hold_c, moment_of(started_us)
        values["hold_seconds"] = (times[-1] - started_us) / US_PER_S
        values["peak_c"], values["peak_at"] = peak_c, moment_of(peak_us)
        values["peak_hold_started_at"] = moment_of(peak_started_us)
        values["peak_hold_seconds"] = peak_hold_us / US_PER_S

    def follow_rate(self) -> None:
        """Keep a point every 5 minutes of about the last hour; a gap begins anew."""
        points = [(us_of(at), temp_c) for at, temp_c in self.before.rate_points]
        gaps = np.flatnonzero(self.is_gap)
        place = 0 if self.is_first else 1
        if len(gaps):
            points, place = [], int(gaps[-1]) + 1
        while place < len(self.at_us):
            if not points or self.at_us[place] - points[-1][0] >= _SPACING_US:
                points.append((int(self.at_us[place]), float(self.temp_c[place])))
            place = max(place + 1, int(np.searchsorted(self.at_us, points[-1][0] + _SPACING_US)))
        last_us, last_c = int(self.at_us[-1]), float(self.temp_c[-1])
        while len(points) > 1 and last_us - points[1][0] >= _WINDOW_US:
            del points[0]
        hours = (last_us - points[0][0]) / US_PER_S / 3600
        is_long_enough = hours * 3600 >= RATE_WINDOW_MIN.total_seconds()
        self.values["heating_rate_c_per_h"] = (
            (last_c - points[0][1]) / hours if is_long_enough else None
        )
        self.values["rate_points"] = tuple((moment_of(us), temp_c) for us, temp_c in points)

    def add_energy(self, batch: ReadingColumns) -> None:
        """The meter's register from first to last, and power by trapezoids."""
        register_wh = batch.values.get("register_wh")
        if register_wh is not None and not np.isnan(register_wh).all():
            counted = register_wh[~np.isnan(register_wh)]
            if self.values["register_first_wh"] is None:
                self.values["register_first_wh"] = float(counted[0])
            self.values["register_last_wh"] = float(counted[-1])
        power_w = batch.values.get("power_w", np.full(len(batch), math.nan))
        if not self.is_first:
            before_w = self.before.last_power_w
            power_w = np.concatenate(([math.nan if before_w is None else before_w], power_w))
        mean_w = (power_w[1:] + power_w[:-1]) / 2
        known = ~np.isnan(mean_w) & ~self.is_gap
        seconds = np.diff(self.at_us)[known] / US_PER_S
        self.values["power_wh"] += float((mean_w[known] * seconds).sum() / 3600)
        self.values["power_seconds"] += float(seconds.sum())
        self.values["last_power_w"] = None if math.isnan(power_w[-1]) else float(power_w[-1])

    def add_extremes(self, batch: ReadingColumns) -> None:
        extremes = dict(self.before.extremes)
        for name in EXTREMES_OF:
            column = batch.values.get(name)
            if column is None or np.isnan(column).all():
                continue
            low, high = float(np.nanmin(column)), float(np.nanmax(column))
            lowest, highest = extremes.get(name, (low, high))
            extremes[name] = (min(lowest, low), max(highest, high))
        self.values["extremes"] = extremes

    def summary(self, count: int) -> FiringSummary:
        self.values["readings_count"] += count
        self.values["first_at"] = self.first_at
        self.values["last_at"] = moment_of(self.at_us[-1])
        self.values["last_temp_c"] = float(self.temp_c[-1])
        return FiringSummary(**self.values)


def _add_hot_time(
    hot_seconds: dict[int, float], seconds: Floats, start_c: Floats, end_c: Floats
) -> dict[int, float]:
    """Share steps out over the classes that a straight line from start to end crosses."""
    low_c, high_c = np.minimum(start_c, end_c), np.maximum(start_c, end_c)
    hot = high_c >= HOT_FROM_C
    if not hot.any():
        return hot_seconds
    seconds, low_c, high_c = seconds[hot], low_c[hot], high_c[hot]
    lowest = np.maximum(HOT_FROM_C // HOT_CLASS_C, np.floor(low_c / HOT_CLASS_C).astype(int))
    counts = np.floor(high_c / HOT_CLASS_C).astype(int) - lowest + 1
    starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
    classes = np.repeat(lowest, counts) + np.arange(counts.sum()) - np.repeat(starts, counts)
    low_c, high_c = np.repeat(low_c, counts), np.repeat(high_c, counts)
    class_c = classes * HOT_CLASS_C
    inside_c = np.minimum(high_c, class_c + HOT_CLASS_C) - np.maximum(low_c, class_c)
    is_level = high_c == low_c
    share = np.where(is_level, 1.0, inside_c / np.where(is_level, 1.0, high_c - low_c))
    spent = np.bincount(classes, weights=np.repeat(seconds, counts) * share)
    found = dict(hot_seconds)
    for number in np.flatnonzero(spent > 0).tolist():
        low = number * HOT_CLASS_C
        found[low] = found.get(low, 0.0) + float(spent[number])
    return dict(sorted(found.items()))
