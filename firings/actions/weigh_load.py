"""A load is weighed: what its ware weighs as it goes in, for the energy explained."""

from __future__ import annotations

import math
from datetime import datetime

from django.db import transaction

from firings.actions.plan_firing import locked_firing, require_state
from firings.models import Firing, FiringState
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

LOAD_KG = (0.1, 2000.0)
HAS_A_LOAD = (
    FiringState.LOADING,
    FiringState.FIRING,
    FiringState.COOLING,
    FiringState.COOLED,
    FiringState.OPENED,
    FiringState.CLOSED,
)


def weigh_load(*, by: Person, at: datetime, firing: Firing, load_kg: float | None) -> Firing:
    """Write down what the ware weighs, in kg, without shelves; None goes back to the estimate.

    It explains where energy went and changes nobody's cost, so a closed firing takes it too.
    """
    require_role(by, Role.CREW)
    low, high = LOAD_KG
    if load_kg is not None and not (math.isfinite(load_kg) and low <= load_kg <= high):
        raise WareRefusal(
            "absurd_weight",
            f"A load weighs between {low:g} and {high:,.0f} kg. Leave it empty to have it "
            "estimated.",
            field="load_kg",
            status=400,
        )
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        require_state(firing, *HAS_A_LOAD)
        if firing.is_empty_first_firing:
            raise WareRefusal(
                "fires_empty", "A first firing runs empty: there is no ware to weigh."
            )
        firing.load_kg = load_kg
        firing.save(update_fields=["load_kg"])
        record_deed(firing, "load weighed", by=by, at=at, load_kg=load_kg)
    return firing
