"""The curve of a firing as lines on a page: drawn here, in the reader's units.

Drawing units are those of the picture's view box; the page scales it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

import numpy as np

from firings.calculations.log_stretches import thinned_places
from firings.calculations.readings import Reading
from studio.calculations import quantities

WIDTH, HEIGHT = 720, 360
LEFT, RIGHT, TOP, BOTTOM = 76, 690, 14, 314
POINTS_AT_MOST = 400
TICK_DEGREES = (20, 50, 100, 200, 500)
TICK_HOURS = (1, 2, 4, 6, 12, 24, 48)
DEGREE_TICKS_AT_MOST, HOUR_TICKS_AT_MOST = 7, 8

# Hours since the start, and degrees C.
Sample = tuple[float, float]


@dataclass(frozen=True)
class Tick:
    at: float
    label: str


@dataclass(frozen=True)
class Curve:
    """What the picture shows: `points` attributes of lines, ticks, and a table beside it."""

    temperature: str
    zones: tuple[str, ...]
    set_point: str
    limit_y: float
    degrees: tuple[Tick, ...]
    hours: tuple[Tick, ...]
    unit: str
    hourly: tuple[Reading, ...]
    last: Reading


def draw_curve(
    readings: Sequence[Reading], *, started_at: datetime, limit_c: float, unit: str
) -> Curve | None:
    """The curve of readings in order of time; None when there are none. `unit` is C or F."""
    if not readings:
        return None
    scale = _scale(readings, started_at, limit_c, unit)
    columns = {
        name: _samples(readings, name, started_at)
        for name in ("temp_c", "zone2_c", "zone3_c", "set_point_c")
    }
    lines = {name: scale.line(samples) for name, samples in columns.items()}
    return Curve(
        temperature=lines["temp_c"],
        zones=tuple(line for line in (lines["zone2_c"], lines["zone3_c"]) if line),
        set_point=lines["set_point_c"],
        limit_y=scale.y(limit_c),
        degrees=scale.degree_ticks(unit),
        hours=scale.hour_ticks(),
        unit=f"°{unit}",
        hourly=hourly(readings, started_at),
        last=readings[-1],
    )


def hourly(readings: Sequence[Reading], started_at: datetime) -> tuple[Reading, ...]:
    """The first reading of each hour since the start, and the very last one."""
    seen: dict[int, Reading] = {}
    for reading in readings:
        seen.setdefault((reading.at - started_at) // timedelta(hours=1), reading)
    rows = list(seen.values())
    if rows and rows[-1] != readings[-1]:
        rows.append(readings[-1])
    return tuple(rows)


@dataclass(frozen=True)
class _Scale:
    first_h: float
    last_h: float
    step_h: int
    bottom_c: float
    top_c: float
    step_degrees: int
    top_degrees: int

    def x(self, hours: float) -> float:
        share = (hours - self.first_h) / (self.last_h - self.first_h)
        return round(LEFT + share * (RIGHT - LEFT), 1)

    def y(self, temp_c: float) -> float:
        share = (temp_c - self.bottom_c) / (self.top_c - self.bottom_c)
        return round(BOTTOM - share * (BOTTOM - TOP), 1)

    def line(self, samples: Sequence[Sample]) -> str:
        table = np.array(samples, dtype=np.float64).reshape(-1, 2)
        kept = table[thinned_places(table[:, 0], table[:, 1], POINTS_AT_MOST)].tolist()
        return " ".join(f"{self.x(hours)},{self.y(temp_c)}" for hours, temp_c in kept)

    def degree_ticks(self, unit: str) -> tuple[Tick, ...]:
        steps = range(0, self.top_degrees + 1, self.step_degrees)
        return tuple(Tick(self.y(_to_c(degrees, unit)), str(degrees)) for degrees in steps)

    def hour_ticks(self) -> tuple[Tick, ...]:
        steps = range(0, int(self.last_h) + 1, self.step_h)
        return tuple(Tick(self.x(hours), f"{hours} h") for hours in steps)


def _scale(readings: Sequence[Reading], started_at: datetime, limit_c: float, unit: str) -> _Scale:
    hours = [_hours(readings[0].at, started_at), _hours(readings[-1].at, started_at)]
    last_h = max(1.0, hours[1])
    hottest_c = max(
        temp_c
        for reading in readings
        for temp_c in (reading.temp_c, reading.zone2_c, reading.zone3_c, reading.set_point_c)
        if temp_c is not None
    )
    hottest = float(quantities.c_to(Decimal(str(max(hottest_c, limit_c) + 10)), _unit(unit)))
    step = _step(hottest, TICK_DEGREES, DEGREE_TICKS_AT_MOST)
    top = int(-(-hottest // step) * step)
    return _Scale(
        first_h=min(0.0, hours[0]),
        last_h=last_h,
        step_h=_step(last_h, TICK_HOURS, HOUR_TICKS_AT_MOST),
        bottom_c=_to_c(0, unit),
        top_c=_to_c(top, unit),
        step_degrees=step,
        top_degrees=top,
    )


def _step(length: float, choices: Sequence[int], at_most: int) -> int:
    return next((step for step in choices if length / step <= at_most), choices[-1])


def _samples(readings: Sequence[Reading], name: str, started_at: datetime) -> list[Sample]:
    return [
        (_hours(reading.at, started_at), value)
        for reading in readings
        if (value := getattr(reading, name)) is not None
    ]


def _hours(at: datetime, started_at: datetime) -> float:
    return (at - started_at).total_seconds() / 3600


def _to_c(degrees: int, unit: str) -> float:
    return float(quantities.temperature_to_c(Decimal(degrees), _unit(unit)))


def _unit(unit: str) -> quantities.TemperatureUnit:
    return "F" if unit == "F" else "C"
