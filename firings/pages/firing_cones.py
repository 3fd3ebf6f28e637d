"""What a firing reached: the cone its log suggests, beside what its witness cones showed."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, cast

from firings.actions.log_summary import summary_of
from firings.calculations.heat_work import HOLD_FACTOR, ConeEstimate, cone_from_heat
from firings.models import Firing
from studio.calculations.quantities import c_per_h_to, format_duration, format_temperature
from studio.pages.context import Units

# A shorter time near the peak is not worth telling. Common practice, no source.
SLOW_TOLD_S = 600


def cones_context(firing: Firing, units: Units) -> dict[str, Any]:
    """The log's cone (None without a log) and the witness cones, for closing and after."""
    return {
        **log_cone_context(firing, units),
        "witness_cones": list(firing.witness_cones.all()),
    }


def log_cone_context(firing: Firing, units: Units) -> dict[str, Any]:
    """The cone that the log suggests so far, from the firing's summary; None without a log."""
    summary = summary_of(firing)
    log_cone = None
    if summary.readings_count:
        grade = firing.kiln.thermocouple_grade
        log_cone = cone_from_heat(summary.heat, summary.peak_c, grade)
    return {"log_cone": log_cone, "log_cone_note": note_on(log_cone, units) if log_cone else ""}


def note_on(estimate: ConeEstimate, units: Units) -> str:
    """How far the cone of a log is to be trusted, in the reader's degrees."""
    basis = estimate.basis
    if basis is None:
        return "The log has no heat that would move a cone."
    unit = cast("Any", units.temperature)
    peak = format_temperature(Decimal(str(basis.peak_c)), unit, units.locale)
    # A difference of temperatures has no zero to shift, just as a rate has none.
    error = c_per_h_to(Decimal(str(basis.error_c)), unit)
    sentences = [
        f"Estimate at the thermocouple; near {peak} the range allows {error:.0f} degrees either "
        f"way (new type {basis.grade} wire and model error)."
    ]
    if basis.slow_s >= SLOW_TOLD_S:
        sentences.append(
            f"About {format_duration(round(basis.slow_s))} near the peak were slower than the cone "
            f"chart covers. The model is weak there: their effect is known only to a factor of "
            f"{HOLD_FACTOR:.0f}, and the range is a rough one."
        )
    if basis.has_gaps:
        sentences.append("The log has gaps over 30 minutes, bridged by a straight line.")
    return " ".join([*sentences, "Witness cones decide."])
