"""Heat work: what a temperature log did to a cone.

The kinetics of each cone (cone_kinetics.py) are integrated over the log, for all cones at once
and batch by batch, so that the cone a log suggests is known at any moment without reading it.

E and k are apparent values: they describe the chart and nothing else. On rates left out of the
fit the model errs by some 5 C (LEFT_OUT_RMS_C). Holds lie outside the chart; times predicted for
them can be out by a factor of 3, so the heat work of stretches slower than the slowest column of
the chart is kept apart. What bent in the kiln is for witness cones to say.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field, replace
from typing import Any, NamedTuple, cast

import numpy as np

from firings.calculations.cone_kinetics import (
    CONE_KINETICS,
    GAS_CONSTANT_J_PER_MOL_K,
    KELVIN_AT_0_C,
    LEFT_OUT_RMS_C,
)
from firings.calculations.cones import CONES
from firings.calculations.reading_columns import US_PER_S, Floats, Ints, ReadingColumns
from firings.calculations.readings import GAP_MAX, Reading, require_time_order
from firings.calculations.thermocouples import thermocouple_tolerance_c

# Below this no cone of the chart has begun to soften; skipping it saves most of the work.
SOFTENING_FROM_C = 400.0
# The slowest column of the chart. Slower than this, heat work is extrapolated.
SLOWEST_CHART_RATE_C_PER_H = 15.0
# What is within as much is a hold, though a relay hunts about it: ours, no source.
HOLD_RANGE_C = 5.0
HOLD_FACTOR = 3.0
# Whether it was slow is asked of stretches of as much, by the clock in UTC.
STRETCH_S = 15 * 60
# Within a step of this size the exponent is as good as straight.
STEP_C_MAX = 10.0
SLOW_CLASS_C = 25

_ACTIVATION_K = np.array(
    [CONE_KINETICS[cone].activation_j_per_mol / GAS_CONSTANT_J_PER_MOL_K for cone in CONES]
)
_LOG_K = np.array([CONE_KINETICS[cone].log_k for cone in CONES])
_NOTHING = (0.0,) * len(CONES)


@dataclass(frozen=True)
class Stretch:
    """The stretch that the log is in: its number by the clock, what it spans, its work so far."""

    number: int
    span_s: float
    start_c: float
    end_c: float
    low_c: float
    high_c: float
    work: tuple[float, ...] = _NOTHING

    @property
    def is_slow(self) -> bool:
        """Whether it is slower than the chart covers. A turn at a sharp peak is no hold."""
        slow_c = SLOWEST_CHART_RATE_C_PER_H * self.span_s / 3600
        range_c = self.high_c - self.low_c
        # A thousandth: a straight ramp of just 15 C per hour is of the chart, rounding or not.
        slow_c *= 0.999
        return range_c < slow_c or (
            range_c <= HOLD_RANGE_C and abs(self.end_c - self.start_c) < slow_c
        )


@dataclass(frozen=True)
class HeatWork:
    """How far each cone of the chart has come: 1 is down. Two sums, and the open stretch.

    fast, slow: heat work of closed stretches, by cone in the order of the chart. slow_s: lower
    bound of a class of 25 C -> seconds in slow stretches of that class. bridged_gaps: gaps in
    the log, at heat, that a straight line bridges.
    """

    fast: tuple[float, ...] = _NOTHING
    slow: tuple[float, ...] = _NOTHING
    slow_s: dict[int, float] = field(default_factory=dict)
    open: Stretch | None = None
    bridged_gaps: int = 0

    def to_json(self) -> dict[str, Any]:
        """Return a dict that JSON can carry."""
        values = asdict(self)
        values["slow_s"] = {str(low_c): seconds for low_c, seconds in self.slow_s.items()}
        return values

    @classmethod
    def from_json(cls, values: dict[str, Any]) -> HeatWork:
        """Return what `to_json` gave."""
        stretch = values.get("open")
        return cls(
            tuple(values["fast"]),
            tuple(values["slow"]),
            {int(low_c): seconds for low_c, seconds in values["slow_s"].items()},
            Stretch(**{**stretch, "work": tuple(stretch["work"])}) if stretch else None,
            values["bridged_gaps"],
        )

    def whole(self) -> tuple[Floats, Floats]:
        """Return the sums of fast and of slow work, the open stretch as it now stands included."""
        fast, slow = np.array(self.fast), np.array(self.slow)
        if self.open is not None:
            (slow if self.open.is_slow else fast)[:] += self.open.work
        return fast, slow


class _Stretches(NamedTuple):
    """Stretches of a batch, as columns; `work` has a row for each cone."""

    number: Ints
    span_s: Floats
    start_c: Floats
    end_c: Floats
    low_c: Floats
    high_c: Floats
    work: Floats

    def at(self, place: int) -> Stretch:
        return Stretch(
            int(self.number[place]),
            float(self.span_s[place]),
            float(self.start_c[place]),
            float(self.end_c[place]),
            float(self.low_c[place]),
            float(self.high_c[place]),
            tuple(self.work[:, place].tolist()),
        )


def add_heat(heat: HeatWork, at_us: Ints, temp_c: Floats) -> HeatWork:
    """Return heat work with a batch added, in order of time.

    The first reading is the last one that was added before, if there was any. Temperature is
    taken as straight between readings.
    """
    hot = np.maximum(temp_c[:-1], temp_c[1:]) >= SOFTENING_FROM_C
    if not hot.any():
        return heat
    seconds = np.diff(at_us)[hot] / US_PER_S
    start_c, end_c = temp_c[:-1][hot], temp_c[1:][hot]
    numbers = (at_us[1:][hot] - 1) // (STRETCH_S * US_PER_S)
    gaps = int((seconds > GAP_MAX.total_seconds()).sum())
    heat = replace(heat, bridged_gaps=heat.bridged_gaps + gaps)
    return _add_stretches(heat, _stretches(numbers, seconds, start_c, end_c))


def _stretches(numbers: Ints, seconds: Floats, start_c: Floats, end_c: Floats) -> _Stretches:
    firsts = np.flatnonzero(np.concatenate(([True], np.diff(numbers) != 0)))
    lasts = np.append(firsts[1:], len(numbers)) - 1
    return _Stretches(
        numbers[firsts],
        np.add.reduceat(seconds, firsts),
        start_c[firsts],
        end_c[lasts],
        np.minimum.reduceat(np.minimum(start_c, end_c), firsts),
        np.maximum.reduceat(np.maximum(start_c, end_c), firsts),
        _work(seconds, start_c, end_c, firsts),
    )


def _work(seconds: Floats, start_c: Floats, end_c: Floats, firsts: Ints) -> Floats:
    """Integrate dD/dt of each cone over steps, and add up from each of `firsts` to the next.

    In a step the exponent goes straight from a to b, so the mean of its exponential is the
    logarithmic mean of the two ends. Steps of more than 10 C are cut into equal pieces.
    """
    counts = np.maximum(1, np.ceil(np.abs(end_c - start_c) / STEP_C_MAX)).astype(np.int64)
    if counts.max() > 1:
        starts = np.concatenate(([0], np.cumsum(counts)[:-1]))
        place = np.arange(counts.sum()) - np.repeat(starts, counts)
        width_c = np.repeat((end_c - start_c) / counts, counts)
        start_c = np.repeat(start_c, counts) + place * width_c
        end_c = start_c + width_c
        seconds = np.repeat(seconds / counts, counts)
        firsts = starts[firsts]
    # Steps mostly hang together: an exponential for each reading, not for each end of a step.
    if (start_c[1:] == end_c[:-1]).all():
        exponents = _exponents(np.append(start_c, end_c[-1]))
        rates = np.exp(exponents)
        rate_start, rate_end = rates[:, :-1], rates[:, 1:]
        difference = np.diff(exponents, axis=1)
    else:
        start, end = _exponents(start_c), _exponents(end_c)
        rate_start, rate_end = np.exp(start), np.exp(end)
        difference = end - start
    with np.errstate(divide="ignore", invalid="ignore"):
        mean = (rate_end - rate_start) / difference
    mean = np.where(np.abs(difference) < 1e-6, rate_start, mean)
    return cast("Floats", np.add.reduceat(mean * seconds, firsts, axis=1))


def _exponents(temp_c: Floats) -> Floats:
    """ln of dD/dt, a row for each cone; above 50 a cone is long down, whatever the number."""
    exponents = _LOG_K[:, None] - _ACTIVATION_K[:, None] / (temp_c + KELVIN_AT_0_C)
    return cast("Floats", np.minimum(exponents, 50.0))


def _add_stretches(heat: HeatWork, batch: _Stretches) -> HeatWork:
    """Close what is over, keep the last one open."""
    fast, slow, slow_s = np.array(heat.fast), np.array(heat.slow), dict(heat.slow_s)
    closing: list[Stretch] = []
    first = 0
    stretch = heat.open
    if stretch is not None and stretch.number == batch.number[0]:
        stretch = _merged(stretch, batch.at(0))
        first = 1
    if stretch is not None and first < len(batch.number):
        closing.append(stretch)
        stretch = None
    closing += [batch.at(place) for place in range(first, len(batch.number) - 1)]
    if stretch is None:
        stretch = batch.at(len(batch.number) - 1)
    for closed in closing:
        if closed.is_slow:
            slow += closed.work
            low_c = int(closed.low_c // SLOW_CLASS_C) * SLOW_CLASS_C
            slow_s[low_c] = slow_s.get(low_c, 0.0) + closed.span_s
        else:
            fast += closed.work
    return HeatWork(tuple(fast.tolist()), tuple(slow.tolist()), slow_s, stretch, heat.bridged_gaps)


def _merged(before: Stretch, after: Stretch) -> Stretch:
    return Stretch(
        before.number,
        before.span_s + after.span_s,
        before.start_c,
        after.end_c,
        min(before.low_c, after.low_c),
        max(before.high_c, after.high_c),
        tuple(a + b for a, b in zip(before.work, after.work, strict=True)),
    )


@dataclass(frozen=True)
class ConeBasis:
    """What an estimate rests on: `error_c` either way at the peak, with new wire of `grade`;
    how long it was slower near the peak than the chart covers; gaps bridged by a straight line."""

    peak_c: float
    error_c: float
    grade: str
    slow_s: float
    has_gaps: bool


@dataclass(frozen=True)
class ConeEstimate:
    """The hottest cone that a log suggests is down, at the thermocouple, and the range it is in.

    None stands for "no cone of the chart": not even 022 is down. Without heat that would move a
    cone there is no basis either.
    """

    cone: str | None
    lower: str | None
    upper: str | None
    basis: ConeBasis | None = None


def cone_from_heat(heat: HeatWork, peak_c: float | None, grade: str = "K standard") -> ConeEstimate:
    """Return the cone that heat work suggests, with an interval.

    The interval moves the log down and up by the root sum of squares of the thermocouple's
    tolerance at the peak (new wire, `grade`, see thermocouples.py) and twice the model's left-out
    error, and divides and multiplies by 3 the heat work of stretches slower than 15 C per hour,
    which the chart does not cover. Nearly all heat work is done close to the peak, so moving the
    log there multiplies it by exp(E / R (1 / T - 1 / (T + error))). A cone counts as down when it
    and all softer cones are. Raises ValueError when the grade is unknown.
    """
    thermocouple_tolerance_c(0, grade)
    if heat.open is None or peak_c is None:
        return ConeEstimate(None, None, None)
    error_c = math.hypot(thermocouple_tolerance_c(max(0.0, peak_c), grade), 2 * LEFT_OUT_RMS_C)
    fast, slow = heat.whole()
    lower = (fast + slow / HOLD_FACTOR) * _moved(peak_c, -error_c)
    upper = (fast + slow * HOLD_FACTOR) * _moved(peak_c, error_c)
    slow_s = sum(seconds for low_c, seconds in heat.slow_s.items() if low_c > peak_c - 50)
    if heat.open.is_slow and heat.open.low_c > peak_c - 50:
        slow_s += heat.open.span_s
    basis = ConeBasis(peak_c, error_c, grade, slow_s, heat.bridged_gaps > 0)
    return ConeEstimate(_hottest(fast + slow), _hottest(lower), _hottest(upper), basis)


def _moved(peak_c: float, error_c: float) -> Floats:
    kelvin = peak_c + KELVIN_AT_0_C
    return cast("Floats", np.exp(_ACTIVATION_K * (1 / kelvin - 1 / (kelvin + error_c))))


def _hottest(work: Floats) -> str | None:
    standing = np.flatnonzero(work < 1)
    count = int(standing[0]) if len(standing) else len(CONES)
    return CONES[count - 1] if count else None


def cone_from_log(readings: Sequence[Reading], grade: str = "K standard") -> ConeEstimate:
    """Return the cone that a whole log suggests; see `cone_from_heat`.

    Raises ValueError when readings are out of order or the grade is unknown.
    """
    require_time_order(readings)
    columns = ReadingColumns.of(readings)
    temp_c = columns.values["temp_c"]
    peak_c = float(temp_c.max()) if len(temp_c) else None
    return cone_from_heat(add_heat(HeatWork(), columns.at_us, temp_c), peak_c, grade)
