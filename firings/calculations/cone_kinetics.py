"""What moves a cone: the apparent kinetics of each, derived from the published chart.

Model: a cone softens by a thermally activated process, dD/dt = k exp(-E / RT), and is down
at D = 1. At a constant rate b this gives ln(b / T2) = c - E / (R T) with T2 the square of T
in kelvin and b in K/s; E and c of each cone are fitted to the Orton chart for self-supporting
cones (see cones.py), and k is (E / R) exp(c), corrected by some 3 % so that the step-by-step
integral ends where the fit does.

A chart in whole degrees, with cones made to 2 C, fixes the slope of a fit badly: two or three
points carry it. Cones that stand beside each other are made of much the same stuff, so the slope
dT / d ln b of each cone, in units of T2, is pulled towards the mean of its neighbours, and the
more, the less its own rates say: by TAU / (TAU + S), with S the sum of squares of its ln b. TAU
and the reach of the neighbourhood were chosen by leaving rates out (LEFT_OUT_ERRORS_C).
"""

import math
from collections.abc import Iterable, Mapping
from typing import NamedTuple

from firings.calculations.cones import CONES, cone_rank, published_equivalents_c

GAS_CONSTANT_J_PER_MOL_K = 8.314462618  # CODATA 2018, exact
KELVIN_AT_0_C = 273.15
# The weight of the neighbours, and how many cones away they still count.
TAU = 0.3
REACH_CONES = 1.0
NEIGHBOURS_EACH_SIDE = 4

Cells = Mapping[float, float]
"""Rate in C per hour -> temperature in C at which the cone is down."""


class ConeKinetics(NamedTuple):
    """E in J/mol, c of ln(b / T2) = c - E / (R T), and the natural logarithm of k in 1/s.

    log_k is that of the exact integral: ln(E / R) + c less a small correction, see _kinetics.
    """

    activation_j_per_mol: float
    intercept: float
    log_k: float


class _Slope(NamedTuple):
    """dT / d ln b over T2 in 1/K, and how well rates fix it: the sum of squares of ln b."""

    per_kelvin: float
    weight: float


def _slope(cells: Cells) -> _Slope:
    logs = [math.log(rate) for rate in cells]
    mean_log, mean_c = sum(logs) / len(logs), sum(cells.values()) / len(cells)
    squares = sum((log - mean_log) ** 2 for log in logs)
    products = sum(
        (log - mean_log) * (temp_c - mean_c)
        for log, temp_c in zip(logs, cells.values(), strict=True)
    )
    return _Slope(products / squares / (mean_c + KELVIN_AT_0_C) ** 2, squares)


def fit_cone(cells: Cells, neighbours: Iterable[tuple[int, Cells]] = ()) -> ConeKinetics:
    """Fit the kinetics of a cone to its cells, two or more, pulled towards its neighbours.

    `neighbours`: (how many cones away, its cells). Without any this is plain least squares in
    the slope of temperature against ln b, and of the intercept at that slope.
    """
    own = _slope(cells)
    pulls = [
        (math.exp(-((distance / REACH_CONES) ** 2) / 2), _slope(others))
        for distance, others in neighbours
    ]
    per_kelvin = own.per_kelvin
    if pulls:
        whole = sum(near * slope.weight for near, slope in pulls)
        mean = sum(near * slope.weight * slope.per_kelvin for near, slope in pulls) / whole
        share = TAU / (TAU + own.weight)
        per_kelvin += share * (mean - per_kelvin)
    kelvin = sum(cells.values()) / len(cells) + KELVIN_AT_0_C
    # From ln b = c + 2 ln T - A / T: d ln b / dT = 2 / T + A / T2, with A = E / R.
    return _kinetics(1 / per_kelvin - 2 * kelvin, cells)


def _kinetics(activation_k: float, cells: Cells) -> ConeKinetics:
    """The intercept that fits best at a given E / R, and what follows."""
    inverses = [1 / (temp_c + KELVIN_AT_0_C) for temp_c in cells.values()]
    intercepts = [
        math.log(rate / 3600 * inverse**2) + activation_k * inverse
        for rate, inverse in zip(cells, inverses, strict=True)
    ]
    intercept = sum(intercepts) / len(intercepts)
    mean_inverse = sum(inverses) / len(inverses)
    log_k = math.log(activation_k) + intercept
    log_k -= math.log(_tail_of_integral(activation_k * mean_inverse))
    return ConeKinetics(activation_k * GAS_CONSTANT_J_PER_MOL_K, intercept, log_k)


def _tail_of_integral(x: float) -> float:
    """Return what the closed form of the temperature integral leaves out, at x = E / (R T).

    The integral of exp(-E / RT) over T is (R T2 / E) exp(-x) (1 - 2/x + 6/x2 - 24/x3 ...), an
    asymptotic series; the closed form keeps its first term. Without the rest a cone would come
    down about 1 C too late when a log is integrated step by step.
    """
    return 1 - 2 / x + 6 / x**2 - 24 / x**3


def solve_end_point_c(kinetics: ConeKinetics, rate_c_per_h: float) -> float:
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


def _neighbours(cone: str, without_rate: float | None) -> list[tuple[int, Cells]]:
    rank = cone_rank(cone)
    found = []
    for distance in range(1, NEIGHBOURS_EACH_SIDE + 1):
        for place in (rank - distance, rank + distance):
            if 0 <= place < len(CONES):
                found.append((distance, _cells(CONES[place], without_rate)))
    return [(distance, cells) for distance, cells in found if len(cells) >= 2]


def _cells(cone: str, without_rate: float | None = None) -> Cells:
    cells = published_equivalents_c(cone)
    return {rate: temp_c for rate, temp_c in cells.items() if rate != without_rate}


class LeftOut(NamedTuple):
    """One cell of the chart, predicted without its column: prediction - chart, in C."""

    cone: str
    rate_c_per_h: float
    error_c: float


def left_out_errors(*, with_neighbours: bool = True) -> list[LeftOut]:
    """Predict each rate of each cone that has three, from the chart without that rate.

    The whole column is left out, so the neighbours do not know it either. Without neighbours
    this is each cone by itself: plain least squares on two points.
    """
    errors = []
    for cone in CONES:
        cells = _cells(cone)
        if len(cells) < 3:
            continue
        for rate, temp_c in cells.items():
            beside = _neighbours(cone, rate) if with_neighbours else []
            kinetics = fit_cone(_cells(cone, rate), beside)
            errors.append(LeftOut(cone, rate, solve_end_point_c(kinetics, rate) - temp_c))
    return errors


CONE_KINETICS: dict[str, ConeKinetics] = {
    cone: fit_cone(_cells(cone), _neighbours(cone, None)) for cone in CONES
}
LEFT_OUT_ERRORS_C: tuple[float, ...] = tuple(found.error_c for found in left_out_errors())
LEFT_OUT_RMS_C = math.sqrt(sum(e**2 for e in LEFT_OUT_ERRORS_C) / len(LEFT_OUT_ERRORS_C))


def end_point_c(cone: str, rate_c_per_h: float) -> float:
    """Return the temperature in C at which the model has a self-supporting cone down.

    The chart has 15, 60 and 150 C per hour; other rates are the model's word.
    Raises ValueError for an unknown cone or a rate that is not above 0.
    """
    cone_rank(cone)
    if not (rate_c_per_h > 0 and math.isfinite(rate_c_per_h)):
        raise ValueError(f"rate_c_per_h must be above 0, not {rate_c_per_h!r}")
    return solve_end_point_c(CONE_KINETICS[cone], rate_c_per_h)
