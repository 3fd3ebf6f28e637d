"""What a firing reached: the cone its log suggests, beside what its witness cones showed."""

from __future__ import annotations

from typing import Any

from firings.actions.readings import moments_of
from firings.calculations.heat_work import cone_from_log
from firings.models import Firing


def cones_context(firing: Firing) -> dict[str, Any]:
    """The log's cone (None without a log) and the witness cones, for closing and after."""
    readings = moments_of(firing)
    return {
        "log_cone": cone_from_log(readings) if readings else None,
        "witness_cones": list(firing.witness_cones.all()),
    }
