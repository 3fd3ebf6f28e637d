"""A load that crew are making just now: planned, something locked, something kept out."""

from __future__ import annotations

import math
from datetime import datetime, timedelta

from billing.demo.kiln_logs import schedule_for, schedule_json
from billing.demo.scene import Scene
from firings.actions.forecast_queues import forecast_queues
from firings.actions.hold_load import keep_slip_out, lock_piece
from firings.actions.load import fill_load
from firings.actions.plan_firing import plan_firing
from firings.actions.ware import edit_firing_policy
from firings.models import Booking, Kiln, KilnState, Placement

STAGE, CONE = "bisque", "04"


def make_a_load(scene: Scene, at: datetime) -> None:
    """Plan the next bisque firing and fill its load around one slip kept out and a locked pot."""
    kiln = Kiln.objects.filter(state=KilnState.IN_SERVICE).order_by("name").first()
    waiting = list(Booking.objects.in_queue(STAGE, CONE))
    if kiln is None or len(waiting) < 2:
        return
    by = scene.crew()
    # a manager has decided that bisque ware may nest, and that tiles stand on edge
    edit_firing_policy(
        by=scene.manager, at=at, fields={"bowls_nested_at_most": 3, "tiles_on_edge": True}
    )
    firing = plan_firing(
        by=by,
        at=at,
        kiln=kiln,
        stage=STAGE,
        cone=CONE,
        planned_for=at + timedelta(hours=20),
        schedule=schedule_json(schedule_for(STAGE, CONE)),
    )
    keep_slip_out(by=by, at=at, firing=firing, booking=waiting[-1])
    fill_load(by=by, at=at, firing=firing)
    own = Placement.objects.filter(layer__firing=firing, carried_by=None, x_mm__isnull=False)
    # in the middle, where no post has to stand for a shelf above
    put = min(own, key=lambda one: math.hypot(one.x_mm, one.y_mm), default=None)
    if put is not None:
        lock_piece(by=by, at=at, firing=firing, piece=put.piece, is_locked=True)
        fill_load(by=by, at=at, firing=firing)


def reckon_the_queues(at: datetime) -> None:
    """What beat does every minute in a running studio."""
    forecast_queues(at=at)
