"""The heat work of a log as one temperature: what a kiln rising at 60 C per hour would have shown.

The cone model of heat_work.py is integrated for the cones that the log's peak lies between. For
each, the softening that the log did is turned back into the temperature at which a steady rise of
60 C per hour has done as much; the answer is taken between the two. At a steady 60 C per hour it is
the peak itself. Errors are those of heat_work.py: some degrees, and holds to a factor of 3.
"""

import math
from collections.abc import Sequence
from itertools import pairwise

from firings.calculations.cone_kinetics import (
    CONE_KINETICS,
    GAS_CONSTANT_J_PER_MOL_K,
    KELVIN_AT_0_C,
    end_point_c,
)
from firings.calculations.cones import CONES
from firings.calculations.heat_work import STEP_C_MAX
from firings.calculations.readings import Reading, require_time_order
from firings.calculations.witness_cones import RATE_C_PER_H

# 95 to 100 % of the softening arises in the last 100 C of a steady rise; holds reach lower.
LOOKED_AT_BELOW_PEAK_C = 300.0
# Below the coolest cone's end by more than this a log has moved no cone.
LEAST_PEAK_C = 540.0


def log_heat_c(readings: Sequence[Reading]) -> float | None:
    """Return the temperature in C that a log's heat work amounts to at 60 C per hour.

    None for a log that is too short or too cool to have moved a cone of the chart. Raises
    ValueError when readings are out of order.
    """
    require_time_order(readings)
    if len(readings) < 2:
        return None
    peak_c = max(reading.temp_c for reading in readings)
    if peak_c < LEAST_PEAK_C:
        return None
    pieces = _pieces(readings, peak_c - LOOKED_AT_BELOW_PEAK_C)
    by_cone = [(end_point_c(cone, RATE_C_PER_H), cone) for cone in CONES]
    equals = [(end_c, _steady_rise_c(cone, pieces)) for end_c, cone in by_cone]
    for (low_end_c, low_c), (high_end_c, high_c) in pairwise(equals):
        if low_c >= low_end_c and high_c < high_end_c:
            past, short = low_c - low_end_c, high_end_c - high_c
            return (low_c * short + high_c * past) / (past + short)
    return equals[-1][1] if equals[-1][1] >= equals[-1][0] else equals[0][1]


Piece = tuple[float, float, float]


def _pieces(readings: Sequence[Reading], from_c: float) -> list[Piece]:
    """Straight pieces of the log as (seconds, 1/T at start, 1/T at end), T in kelvin."""
    pieces: list[Piece] = []
    for before, after in pairwise(readings):
        if max(before.temp_c, after.temp_c) < from_c:
            continue
        count = max(1, math.ceil(abs(after.temp_c - before.temp_c) / STEP_C_MAX))
        seconds = (after.at - before.at).total_seconds() / count
        width_c = (after.temp_c - before.temp_c) / count
        kelvins = [before.temp_c + KELVIN_AT_0_C + width_c * step for step in range(count + 1)]
        pieces += [(seconds, 1 / start, 1 / end) for start, end in pairwise(kelvins)]
    return pieces


def _steady_rise_c(cone: str, pieces: Sequence[Piece]) -> float:
    """Where a steady rise has softened a cone as much as these pieces did, found by halving."""
    kinetics = CONE_KINETICS[cone]
    activation_k = kinetics.activation_j_per_mol / GAS_CONSTANT_J_PER_MOL_K
    done = _log_softening(pieces, kinetics.log_k, activation_k)
    low_k, high_k = KELVIN_AT_0_C, KELVIN_AT_0_C + 2000
    for _ in range(60):
        middle_k = (low_k + high_k) / 2
        if _log_of_steady_rise(middle_k, kinetics.log_k, activation_k) < done:
            low_k = middle_k
        else:
            high_k = middle_k
    return (low_k + high_k) / 2 - KELVIN_AT_0_C


def _log_of_steady_rise(kelvin: float, log_k: float, activation_k: float) -> float:
    """ln of the softening at 60 C per hour: k R T2 / (E b) exp(-x)(1 - 2/x + 6/x2 - 24/x3)."""
    x = activation_k / kelvin
    series = 1 - 2 / x + 6 / x**2 - 24 / x**3
    rate_k_per_s = RATE_C_PER_H / 3600
    return log_k + math.log(kelvin**2 / activation_k / rate_k_per_s * max(series, 1e-9)) - x


def _log_softening(pieces: Sequence[Piece], log_k: float, activation_k: float) -> float:
    """ln of the softening of a log. In a piece the exponent goes straight from start to end, so
    the mean of its exponential is the logarithmic mean of the ends; all is counted from the largest
    exponent, so that nothing overflows.
    """
    ends = [
        (seconds, log_k - activation_k * start, log_k - activation_k * end)
        for seconds, start, end in pieces
    ]
    highest = max(max(start, end) for _, start, end in ends)
    total = 0.0
    for seconds, start, end in ends:
        difference = end - start
        if abs(difference) < 1e-6:
            total += seconds * math.exp(start - highest)
        else:
            rise = math.exp(end - highest) - math.exp(start - highest)
            total += seconds * rise / difference
    return highest + math.log(total)
