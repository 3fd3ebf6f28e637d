"""A kiln's offset: what witness cones say beyond the log's heat work, firing after firing, in C.

Below 0 the log reads higher than the cones. The history is a control chart of single values, begun
anew when the thermocouple or the elements were replaced. What follows from it is a number to
consider: the maker's manual and a person decide whether a controller is given an offset.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from statistics import fmean, stdev

from firings.calculations.control_chart import ControlChart, individuals_chart
from firings.calculations.witness_cones import CONE_TOLERANCE_C

# Limits from fewer values mean little; from fewer than 20 they are provisional. From memory.
CHART_FIRINGS_MIN = 5
ADVICE_FIRINGS_MIN = 4
ADVICE_FIRINGS_MAX = 6
# What averaging does not take away, as standard uncertainties: the model's fit to the chart at
# 60 C per hour (RMS of its residuals 1.3 C), and the cones' tolerance.
MODEL_FIT_C = 1.3
SHARED_C = math.hypot(MODEL_FIT_C, CONE_TOLERANCE_C / math.sqrt(3))
COVERAGE_FACTOR = 2


@dataclass(frozen=True)
class Offset:
    """One firing's offset with the range of its cones either way."""

    at: datetime
    offset_c: float
    either_way_c: float


@dataclass(frozen=True)
class PartChange:
    """When a part was replaced, and what it was called."""

    at: datetime
    name: str


@dataclass(frozen=True)
class OffsetRun:
    """The firings between two changes. `begun_by` names what was replaced before the first."""

    begun_by: tuple[str, ...]
    offsets: tuple[Offset, ...]
    chart: ControlChart | None


@dataclass(frozen=True)
class OffsetAdvice:
    """The mean of the last firings and its expanded uncertainty, about 95 %.

    `stands_out`: the mean is further from 0 than it may err.
    """

    firings_count: int
    mean_c: float
    either_way_c: float

    @property
    def stands_out(self) -> bool:
        return abs(self.mean_c) > self.either_way_c


def offset_runs(
    offsets: Sequence[Offset], changes: Sequence[PartChange] = ()
) -> tuple[OffsetRun, ...]:
    """Return the history in runs; a run without firings is left out unless it is the last.

    Raises ValueError when offsets are out of order.
    """
    times = [one.at for one in offsets]
    if times != sorted(times):
        raise ValueError("offsets must be in order of time")
    runs = []
    edges = sorted({change.at for change in changes})
    for number in range(len(edges) + 1):
        start = edges[number - 1] if number else None
        end = edges[number] if number < len(edges) else None
        inside = tuple(
            one
            for one in offsets
            if (start is None or one.at >= start) and (end is None or one.at < end)
        )
        begun_by = tuple(change.name for change in changes if change.at == start)
        if inside or (end is None and begun_by):
            runs.append(OffsetRun(begun_by, inside, _chart(inside)))
    return tuple(runs)


def offset_advice(runs: Sequence[OffsetRun]) -> OffsetAdvice | None:
    """Return what the last run's last firings amount to; None with fewer than four."""
    if not runs or len(runs[-1].offsets) < ADVICE_FIRINGS_MIN:
        return None
    last = [one.offset_c for one in runs[-1].offsets[-ADVICE_FIRINGS_MAX:]]
    of_mean_c = stdev(last) / math.sqrt(len(last))
    either_way_c = COVERAGE_FACTOR * math.hypot(of_mean_c, SHARED_C)
    return OffsetAdvice(len(last), fmean(last), either_way_c)


def _chart(offsets: Sequence[Offset]) -> ControlChart | None:
    if len(offsets) < CHART_FIRINGS_MIN:
        return None
    return individuals_chart([one.offset_c for one in offsets])
