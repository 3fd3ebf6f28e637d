"""The heat work of a log as one temperature: what a kiln rising at 60 C per hour would have shown.

The heat work that heat_work.py kept for each cone is turned back into the temperature at which a
steady rise of 60 C per hour has done as much; the answer is taken between the two cones that the
log lies between. At a steady 60 C per hour it is
the peak itself. Errors are those of heat_work.py: some degrees, and holds to a factor of 3.
"""

import math
from itertools import pairwise

from firings.calculations.cone_kinetics import (
    CONE_KINETICS,
    GAS_CONSTANT_J_PER_MOL_K,
    KELVIN_AT_0_C,
    end_point_c,
)
from firings.calculations.cones import CONES
from firings.calculations.heat_work import HeatWork
from firings.calculations.witness_cones import RATE_C_PER_H

# Below the coolest cone's end by more than this a log has moved no cone.
LEAST_PEAK_C = 540.0


def log_heat_c(heat: HeatWork, peak_c: float | None) -> float | None:
    """Return the temperature in C that a log's heat work amounts to at 60 C per hour.

    None for a log that is too short or too cool to have moved a cone of the chart.
    """
    if peak_c is None or peak_c < LEAST_PEAK_C:
        return None
    fast, slow = heat.whole()
    done = [(cone, float(work)) for cone, work in zip(CONES, fast + slow, strict=True) if work > 0]
    equals = [
        (end_point_c(cone, RATE_C_PER_H), _steady_rise_c(cone, math.log(work)))
        for cone, work in done
    ]
    for (low_end_c, low_c), (high_end_c, high_c) in pairwise(equals):
        if low_c >= low_end_c and high_c < high_end_c:
            past, short = low_c - low_end_c, high_end_c - high_c
            return (low_c * short + high_c * past) / (past + short)
    if not equals:
        return None
    return equals[-1][1] if equals[-1][1] >= equals[-1][0] else equals[0][1]


def _steady_rise_c(cone: str, done: float) -> float:
    """Where a steady rise has softened a cone as much, given as ln; found by halving."""
    kinetics = CONE_KINETICS[cone]
    activation_k = kinetics.activation_j_per_mol / GAS_CONSTANT_J_PER_MOL_K
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
