"""A trend over firings as a picture: dots in time, limits where there are any, what was replaced.

Drawing units are those of the picture's view box. Values come in the reader's units.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, tzinfo

from babel.dates import format_date

from firings.pages.curve import Tick

WIDTH, HEIGHT = 720, 300
LEFT, RIGHT, TOP, BOTTOM = 76, 690, 16, 256
VALUE_TICKS_AT_MOST = 6
DAY_TICKS = 4
# A line's own breadth of room, so that equal values do not lie on the edge.
LEAST_SPAN_SHARE = 0.04


@dataclass(frozen=True)
class TrendLimits:
    """Centre line and limits of a run."""

    centre: float
    lower: float
    upper: float


@dataclass(frozen=True)
class TrendRun:
    """Values in order of time that belong together; `outside` numbers those beyond its limits."""

    points: tuple[tuple[datetime, float], ...]
    limits: TrendLimits | None = None
    outside: tuple[int, ...] = ()


@dataclass(frozen=True)
class Dot:
    x: float
    y: float
    is_outside: bool


@dataclass(frozen=True)
class LimitLine:
    x1: float
    x2: float
    centre_y: float
    lower_y: float
    upper_y: float


@dataclass(frozen=True)
class TrendChart:
    """What the picture shows; `label` says it in words."""

    label: str
    unit: str
    dots: tuple[Dot, ...]
    lines: tuple[str, ...]
    limits: tuple[LimitLine, ...]
    marks: tuple[float, ...]
    zero_y: float | None
    values: tuple[Tick, ...]
    days: tuple[Tick, ...]


def draw_trend(
    runs: Sequence[TrendRun],
    *,
    label: str,
    unit: str,
    locale: str,
    zone: tzinfo,
    marks: Sequence[datetime] = (),
) -> TrendChart | None:
    """The picture of some runs of values; None without any. `marks`: when a part was replaced."""
    points = [point for run in runs for point in run.points]
    if not points:
        return None
    scale = _scale(runs, points)
    first_at, last_at = scale.first_at, scale.last_at
    return TrendChart(
        label=label,
        unit=unit,
        dots=tuple(
            Dot(scale.x(at), scale.y(value), number in run.outside)
            for run in runs
            for number, (at, value) in enumerate(run.points)
        ),
        lines=tuple(
            " ".join(f"{scale.x(at)},{scale.y(value)}" for at, value in run.points)
            for run in runs
            if len(run.points) > 1
        ),
        limits=tuple(scale.limit_line(run) for run in runs if run.limits and run.points),
        marks=tuple(scale.x(at) for at in marks if first_at <= at <= last_at),
        zero_y=scale.y(0.0) if scale.bottom < 0 < scale.top else None,
        values=scale.value_ticks(),
        days=scale.day_ticks(locale, zone),
    )


@dataclass(frozen=True)
class _Scale:
    first_at: datetime
    last_at: datetime
    bottom: float
    top: float
    step: float

    def x(self, at: datetime) -> float:
        span_s = (self.last_at - self.first_at).total_seconds()
        share = (at - self.first_at).total_seconds() / span_s if span_s else 0.5
        return round(LEFT + 12 + share * (RIGHT - LEFT - 24), 1)

    def y(self, value: float) -> float:
        share = (value - self.bottom) / (self.top - self.bottom)
        return round(BOTTOM - share * (BOTTOM - TOP), 1)

    def limit_line(self, run: TrendRun) -> LimitLine:
        limits = run.limits or TrendLimits(0.0, 0.0, 0.0)
        return LimitLine(
            self.x(run.points[0][0]) - 8,
            self.x(run.points[-1][0]) + 8,
            self.y(limits.centre),
            self.y(limits.lower),
            self.y(limits.upper),
        )

    def value_ticks(self) -> tuple[Tick, ...]:
        count = round((self.top - self.bottom) / self.step)
        places = max(0, -math.floor(math.log10(self.step)))
        values = [self.bottom + self.step * number for number in range(count + 1)]
        return tuple(Tick(self.y(value), f"{value + 0.0:.{places}f}") for value in values)

    def day_ticks(self, locale: str, zone: tzinfo) -> tuple[Tick, ...]:
        """A few days, evenly; fewer where the firings lie close together."""
        span = self.last_at - self.first_at
        count = min(DAY_TICKS, max(1, span.days))
        moments = [self.first_at + span * number / count for number in range(count + 1)]
        labels = [format_date(at.astimezone(zone), "d MMM", locale=locale) for at in moments]
        return tuple(Tick(self.x(at), text) for at, text in zip(moments, labels, strict=True))


def _scale(runs: Sequence[TrendRun], points: Sequence[tuple[datetime, float]]) -> _Scale:
    values = [value for _, value in points]
    for run in runs:
        if run.limits:
            values += [run.limits.lower, run.limits.upper]
    low, high = min(values), max(values)
    room = max(high - low, LEAST_SPAN_SHARE * max(abs(low), abs(high)), 1e-6)
    step = _step(room / VALUE_TICKS_AT_MOST)
    bottom = math.floor(low / step) * step
    top = math.ceil(high / step) * step
    if top <= bottom:
        top = bottom + step
    times = [at for at, _ in points]
    return _Scale(min(times), max(times), bottom, top, step)


def _step(least: float) -> float:
    """The next of 1, 2 and 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * factor for factor in (1, 2, 5, 10) if power * factor >= least)
