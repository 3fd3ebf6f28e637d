"""Who pays more or less than the split: a club, a fund, guests, thanks to crew, and one refund."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from functools import partial

from billing.actions.consumable_lines import add_consumable
from billing.actions.memberships import add_membership, give_membership
from billing.actions.refunds import refund_share
from billing.demo.scene import Scene, day_of
from billing.models import Membership, Share

# name, kind, value
OFFERED = (
    ("Kiln club", "area_allowance", {"area_mm2": 120_000}),
    ("Apprentices' fund", "subsidy", {"basis_points": 4_000}),
    ("Guest of the studio", "surcharge", {"basis_points": 2_500}),
    ("Thanks to crew", "crew_firing", {"amount_minor": 300}),
)
HELD = (
    ("priya", "Kiln club"),
    ("hana", "Apprentices' fund"),
    ("iker", "Guest of the studio"),
    ("tamsin", "Thanks to crew"),
    ("kwabena", "Thanks to crew"),
)
CONSUMABLES = (("Witness cones", 45, "layer"), ("Stilts and cookies", 10, "booking"))


def plan_memberships(scene: Scene) -> None:
    """On the third day, when everybody has joined; the refund a day before now."""
    scene.timeline.plan(scene.moment(scene.day(2), "17:30"), partial(_give, scene))
    refunded_at = scene.moment(day_of(scene.now, -1), "10:40")
    scene.timeline.plan(refunded_at, partial(_refund, scene))


def _give(scene: Scene, at: datetime) -> None:
    by = {"by": scene.treasurer, "at": at}
    for name, price_minor, per in CONSUMABLES:
        add_consumable(name=name, price_minor=price_minor, per=per, **by)
    memberships: dict[str, Membership] = {
        name: add_membership(name=name, kind=kind, **value, **by) for name, kind, value in OFFERED
    }
    first: date = day_of(at)
    for key, name in HELD:
        account = scene.people[key].account if key in scene.people else None
        if account is not None:
            give_membership(account=account, membership=memberships[name], valid_from=first, **by)


def _refund(scene: Scene, at: datetime) -> None:
    """A crumb of the lid fell on somebody's ware: half of its charge is given back."""
    charged = Share.objects.filter(cost__reversed_at=None, amount_minor__gt=0)
    hana = scene.people["hana"].account
    share = charged.filter(account=hana).order_by("-pk").first() or charged.order_by("-pk").first()
    if share is not None:
        refund_share(
            by=scene.people["tamsin"],
            at=at + timedelta(minutes=1),
            share=share,
            basis_points=5_000,
            reason=f"Slip {share.booking.slip}: a crumb of the lid stuck in the glaze.",
        )
