"""Space promised on an announced firing: a load that holds all of it is kept and repaired.

So what is promised can be loaded: not by a sum of areas, but because a plan for it stands here.
Call these with the firing's row held.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from firings.actions.kiln_space import space_of
from firings.actions.load_ware import bundles_for, queue_pieces
from firings.calculations.bisque_bundles import Bundle
from firings.calculations.load_plan import LoadPlan, layers_from_json, layers_to_json
from firings.calculations.plan_check import check_load
from firings.calculations.planning.fitting import fits
from firings.calculations.planning.problem import Held
from firings.models import Booking, Firing, FiringPolicy, FiringState
from studio.actions.trail import record_deed
from studio.models import Person


def promise_space(firing: Firing, booking: Booking) -> bool:
    """Find room for one more booking beside all that is promised.

    The plan that shows it is kept with the firing.
    """
    plan = plan_for(firing, [*_promised(firing, booking), booking])
    if plan is None:
        return False
    _keep(firing, plan)
    return True


def fits_alone(firing: Firing, booking: Booking, *, with_cones: bool = True) -> bool:
    """Whether the kiln would take this booking if nothing else were in it."""
    packs = 1 if with_cones else 0
    return plan_for(firing, [booking], cone_pack_layers=packs, is_begun=False) is not None


def mend_promises(firing: Firing, *, by: Person, at: datetime) -> bool:
    """Fit the kept plan to what is promised now, after ware left or was measured again.

    False when it no longer fits: the old plan stays, and the trail of the firing says so. What
    was promised and then measured larger is for crew and member to settle, not for a rule.
    """
    if firing.state != FiringState.OPEN:
        return True
    promised = _promised(firing)
    plan = plan_for(firing, promised)
    if plan is None:
        slips = ", ".join(one.slip for one in promised)
        record_deed(firing, "promises no longer fit", by=by, at=at, why=slips)
        return False
    _keep(firing, plan)
    return True


def promises_fit(firing: Firing) -> bool:
    """Whether the kept plan still holds everything that is promised, in its present sizes."""
    promised = _promised(firing)
    if not promised:
        return True
    if not firing.promised_plan:  # promised before plans were kept
        return plan_for(firing, promised) is not None
    policy = FiringPolicy.current()
    space, gap_mm = space_of(firing.kiln, policy), policy.gap_mm(firing.stage)
    bundles = bundles_for(promised, space, policy)
    wanted = [one.as_load_piece() for one in queue_pieces(promised, bundles=bundles)]
    plan = LoadPlan(layers_from_json(firing.promised_plan), ())
    return not check_load(space, wanted, plan, gap_mm, bundles=bundles)


def plan_for(
    firing: Firing,
    bookings: Sequence[Booking],
    *,
    held: Held | None = None,
    bundles: Sequence[Bundle] | None = None,
    cone_pack_layers: int = 1,
    is_begun: bool = True,
) -> LoadPlan | None:
    """A load with every one of these bookings, begun from the promised plan; None without one.

    Give bookings with `pieces`. A plan in which the second pair of eyes finds a fault is none.
    """
    policy = FiringPolicy.current()
    space, gap_mm = space_of(firing.kiln, policy), policy.gap_mm(firing.stage)
    if bundles is None:
        bundles = bundles_for(bookings, space, policy)
    wanted = [one.as_load_piece() for one in queue_pieces(bookings, bundles=bundles)]
    present = LoadPlan(layers_from_json(firing.promised_plan), ())
    begun = present if is_begun and firing.promised_plan else None
    plan = fits(space, wanted, gap_mm, cone_pack_layers, present=begun, held=held)
    if plan is None or check_load(space, wanted, plan, gap_mm, held=held, bundles=bundles):
        return None
    return plan


def _promised(firing: Firing, but: Booking | None = None) -> list[Booking]:
    mine = firing.bookings.exclude(pk=but.pk) if but else firing.bookings.all()
    return list(mine.order_by("pk").prefetch_related("pieces"))


def _keep(firing: Firing, plan: LoadPlan) -> None:
    firing.promised_plan = layers_to_json(plan.layers)
    firing.save(update_fields=["promised_plan"])
