"""Heat work: what a temperature log did to a cone.

Model: a cone softens by a thermally activated process, dD/dt = k exp(-E / RT), and is down
at D = 1. At a constant rate b this gives ln(b / T2) = c - E / (R T) with T2 the square of T
in kelvin and b in K/s; E and c of each cone are fitted by least squares to the Orton chart for
self-supporting cones (see cones.py), and k is (E / R) exp(c), corrected by some 3 % so that the
step-by-step integral ends where the fit does.

E and k are apparent values: they describe the chart and nothing else. On rates left out of the
fit the model errs by some 5 C (LEFT_OUT_RMS_C, worked out below from the chart). Holds lie
outside the chart; times predicted for them can be out by a factor of 3. What bent in the kiln
is for witness cones to say.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from typing import NamedTuple

from firings.calculations.cones import CONES, cone_rank, published_equivalents_c
from firings.calculations.readings import GAP_MAX, Reading, require_time_order
from firings.calculations.thermocouples import thermocouple_tolerance_c

GAS_CONSTANT_J_PER_MOL_K = 8.314462618  # CODATA 2018, exact
KELVIN_AT_0_C = 273.15
# Below this no cone of the chart has begun to soften; skipping it saves most of the work.
SOFTENING_FROM_C = 400.0
# The slowest column of the chart. Slower than this, heat work is extrapolated.
SLOWEST_CHART_RATE_C_PER_H = 15.0
HOLD_FACTOR = 3.0
RATE_WINDOW = timedelta(minutes=15)
# Within a step of this size the exponent is as good as straight.
STEP_C_MAX = 10.0


class ConeKinetics(NamedTuple):
    """E in J/mol, c of ln(b / T2) = c - E / (R T), and the natural logarithm of k in 1/s.

    log_k is that of the exact integral: ln(E / R) + c less a small correction, see _fit.
    """

    activation_j_per_mol: float
    intercept: float
    log_k: float


def _fit(cells: Iterable[tuple[float, float]]) -> ConeKinetics:
    """Fit (rate in C per hour, temperature in C) pairs, two or more, by least squares."""
    points = []
    for rate_c_per_h, temp_c in cells:
        kelvin = temp_c + KELVIN_AT_0_C
        points.append((1 / kelvin, math.log(rate_c_per_h / 3600 / kelvin**2)))
    mean_x = sum(x for x, _ in points) / len(points)
    mean_y = sum(y for _, y in points) / len(points)
    slope = sum((x - mean_x) * (y - mean_y) for x, y in points) / sum(
        (x - mean_x) ** 2 for x, _ in points
    )
    intercept = mean_y - slope * mean_x
    activation = -slope * GAS_CONSTANT_J_PER_MOL_K
    log_k = math.log(-slope) + intercept - math.log(_tail_of_integral(-slope * mean_x))
    return ConeKinetics(activation, intercept, log_k)


def _tail_of_integral(x: float) -> float:
    """Return what the closed form of the temperature integral leaves out, at x = E / (R T).

    The integral of exp(-E / RT) over T is (R T2 / E) exp(-x) (1 - 2/x + 6/x2 - 24/x3 ...), an
    asymptotic series; the closed form keeps its first term. Without the rest a cone would come
    down about 1 C too late when a log is integrated step by step.
    """
    return 1 - 2 / x + 6 / x**2 - 24 / x**3


def _solve_end_point_c(kinetics: ConeKinetics, rate_c_per_h: float) -> float:
    """Solve ln(b / T2) = c - E / (R T) for T by Newton's method; converges in a few steps."""
    log_rate = math.log(rate_c_per_h / 3600)
    activation_k = kinetics.activation_j_per_mol / GAS_CONSTANT_J_PER_MOL_K
    kelvin = 1300.0
    for _ in range(50):
        miss = log_rate - 2 * math.log(kelvin) - kinetics.intercept + activation_k / kelvin
        change = miss / (-2 / kelvin - activation_k / kelvin**2)
        kelvin = max(kelvin - change, kelvin / 2)
        if abs(change) < 1e-9:
            break
    return kelvin - KELVIN_AT_0_C


def _left_out_errors_c() -> list[float]:
    """Predict each rate of each cone from its other two rates; return prediction - chart."""
    errors = []
    for cone in CONES:
        cells = published_equivalents_c(cone)
        if len(cells) < 3:
            continue
        for rate, temp_c in cells.items():
            others = [cell for cell in cells.items() if cell[0] != rate]
            errors.append(_solve_end_point_c(_fit(others), rate) - temp_c)
    return errors


CONE_KINETICS: dict[str, ConeKinetics] = {
    cone: _fit(published_equivalents_c(cone).items()) for cone in CONES
}
LEFT_OUT_ERRORS_C: tuple[float, ...] = tuple(_left_out_errors_c())
LEFT_OUT_RMS_C = math.sqrt(sum(e**2 for e in LEFT_OUT_ERRORS_C) / len(LEFT_OUT_ERRORS_C))


def end_point_c(cone: str, rate_c_per_h: float) -> float:
    """Return the temperature in C at which the model has a self-supporting cone down.

    The chart has 15, 60 and 150 C per hour; other rates are the model's word.
    Raises ValueError for an unknown cone or a rate that is not above 0.
    """
    cone_rank(cone)
    if not (rate_c_per_h > 0 and math.isfinite(rate_c_per_h)):
        raise ValueError(f"rate_c_per_h must be above 0, not {rate_c_per_h!r}")
    return _solve_end_point_c(CONE_KINETICS[cone], rate_c_per_h)


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


class _Step(NamedTuple):
    """A straight piece of the log: how long it took, its ends, and whether it is a hold."""

    duration_s: float
    start_c: float
    end_c: float
    is_slow: bool


def cone_from_log(readings: Sequence[Reading], grade: str = "K standard") -> ConeEstimate:
    """Return the cone that a firing's log suggests, with an interval.

    Temperature is taken as straight between readings. The interval comes from integrating the
    log twice more, with each reading moved down and up by the root sum of squares of the
    thermocouple's tolerance (new wire, `grade`, see thermocouples.py) and twice the model's
    left-out error, and with heat work from pieces slower than 15 C per hour, which the chart
    does not cover, divided and multiplied by 3. A cone counts as down when it and all softer
    cones are. Raises ValueError when readings are out of order or the grade is unknown.
    """
    require_time_order(readings)
    thermocouple_tolerance_c(0, grade)
    steps = _steps_of(readings)
    if not steps:
        return ConeEstimate(None, None, None)
    cone = _hottest_down(steps, 0, 1.0, grade)
    lower = _hottest_down(steps, -1, 1 / HOLD_FACTOR, grade)
    upper = _hottest_down(steps, +1, HOLD_FACTOR, grade)
    return ConeEstimate(cone, lower, upper, _basis(readings, steps, grade))


def _steps_of(readings: Sequence[Reading]) -> list[_Step]:
    steps = []
    window_start = window_end = 0
    for index in range(1, len(readings)):
        before, after = readings[index - 1], readings[index]
        while before.at - readings[window_start].at > RATE_WINDOW:
            window_start += 1
        window_end = max(window_end, index)
        while (
            window_end + 1 < len(readings) and readings[window_end + 1].at - after.at <= RATE_WINDOW
        ):
            window_end += 1
        if max(before.temp_c, after.temp_c) < SOFTENING_FROM_C:
            continue
        window = [reading.temp_c for reading in readings[window_start : window_end + 1]]
        span = readings[window_end].at - readings[window_start].at
        # The range, not the difference of the ends: the turn at a sharp peak is no hold.
        rate_c_per_h = (max(window) - min(window)) / (span.total_seconds() / 3600)
        is_slow = rate_c_per_h < SLOWEST_CHART_RATE_C_PER_H
        seconds = (after.at - before.at).total_seconds()
        steps.append(_Step(seconds, before.temp_c, after.temp_c, is_slow))
    return steps


def _hottest_down(
    steps: Sequence[_Step], direction: int, slow_weight: float, grade: str
) -> str | None:
    pieces = [piece for step in steps for piece in _pieces(step, direction, slow_weight, grade)]
    hottest = None
    for cone in CONES:
        if not _is_down(CONE_KINETICS[cone], pieces):
            break
        hottest = cone
    return hottest


def _pieces(
    step: _Step, direction: int, slow_weight: float, grade: str
) -> list[tuple[float, float, float]]:
    """Cut a step into (weighted seconds, 1/T at its start, 1/T at its end), T in kelvin."""
    count = max(1, math.ceil(abs(step.end_c - step.start_c) / STEP_C_MAX))
    weight = (slow_weight if step.is_slow else 1.0) * step.duration_s / count
    width_c = (step.end_c - step.start_c) / count
    edges = []
    for index in range(count + 1):
        temp_c = step.start_c + index * width_c
        temp_c += direction * _error_c(temp_c, grade)
        edges.append(1 / (temp_c + KELVIN_AT_0_C))
    return [(weight, *edge) for edge in pairwise(edges)]


def _error_c(temp_c: float, grade: str) -> float:
    return math.hypot(thermocouple_tolerance_c(max(0.0, temp_c), grade), 2 * LEFT_OUT_RMS_C)


def _is_down(kinetics: ConeKinetics, pieces: Sequence[tuple[float, float, float]]) -> bool:
    """Integrate dD/dt until D reaches 1. In a piece the exponent goes straight from a to b,
    so the mean of its exponential is the logarithmic mean of the two ends.
    """
    activation_k = kinetics.activation_j_per_mol / GAS_CONSTANT_J_PER_MOL_K
    log_k, softened = kinetics.log_k, 0.0
    for seconds, inverse_start, inverse_end in pieces:
        start = log_k - activation_k * inverse_start
        end = log_k - activation_k * inverse_end
        highest = max(start, end)
        if highest < -50:
            continue
        if highest > 50:
            return True
        difference = end - start
        if abs(difference) < 1e-6:
            softened += seconds * math.exp(start)
        else:
            softened += seconds * (math.exp(end) - math.exp(start)) / difference
        if softened >= 1:
            return True
    return False


def _basis(readings: Sequence[Reading], steps: Sequence[_Step], grade: str) -> ConeBasis:
    peak_c = max(reading.temp_c for reading in readings)
    near_peak = [s for s in steps if s.is_slow and min(s.start_c, s.end_c) > peak_c - 50]
    return ConeBasis(
        peak_c=peak_c,
        error_c=_error_c(peak_c, grade),
        grade=grade,
        slow_s=sum(step.duration_s for step in near_peak),
        has_gaps=any(step.duration_s > GAP_MAX.total_seconds() for step in steps),
    )
