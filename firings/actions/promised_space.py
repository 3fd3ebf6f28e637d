"""Space promised on an announced firing: a load that holds all of it is kept and repaired.

So what is promised can be loaded: not by a sum of areas, but because a plan for it stands here.
"""

from __future__ import annotations

from collections.abc import Sequence

from firings.actions.kiln_space import load_pieces
from firings.calculations.kiln_space import KilnSpace
from firings.calculations.load_plan import LoadPlan, layers_from_json, layers_to_json
from firings.calculations.planning.fitting import fits
from firings.calculations.planning.problem import Held
from firings.models import Booking, Firing


def promise_space(firing: Firing, booking: Booking, space: KilnSpace, gap_mm: int) -> bool:
    """Find room for one more booking beside all that is promised; the caller holds the firing.

    The plan that shows it is kept with the firing.
    """
    promised = list(firing.bookings.exclude(pk=booking.pk).prefetch_related("pieces"))
    plan = plan_for(firing, [*promised, booking], space, gap_mm)
    if plan is None:
        return False
    firing.promised_plan = layers_to_json(plan.layers)
    firing.save(update_fields=["promised_plan"])
    return True


def plan_for(
    firing: Firing,
    bookings: Sequence[Booking],
    space: KilnSpace,
    gap_mm: int,
    held: Held | None = None,
) -> LoadPlan | None:
    """A load with every one of these bookings, begun from the promised plan; None without one."""
    present = LoadPlan(layers_from_json(firing.promised_plan), ()) if firing.promised_plan else None
    return fits(space, load_pieces(bookings), gap_mm, present=present, held=held)
