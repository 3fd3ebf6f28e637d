"""What `firings` announces, and what it means for the books. Runs inside the deed's transaction."""

from __future__ import annotations

from datetime import datetime

from django.dispatch import receiver

from billing.actions.price_firing import post_firing_cost
from billing.actions.tariffs import tariff_on
from firings.facts import firing_aborted, firing_closed
from firings.models import Firing
from studio.models import Person, Studio


@receiver(firing_closed, dispatch_uid="billing prices closed firings")
def price_closed_firing(
    sender: object, *, firing: Firing, by: Person | None, at: datetime, **_: object
) -> None:
    """A closed firing is priced and posted; if that is refused, it is not closed."""
    post_firing_cost(firing, by, at)


@receiver(firing_aborted, dispatch_uid="billing prices broken-off firings")
def price_aborted_firing(
    sender: object, *, firing: Firing, by: Person | None, at: datetime, **_: object
) -> None:
    """What a broken-off firing has used so far, the studio carries.

    Breaking off is never refused for the books' sake: without known energy nothing is posted, and
    without a tariff the treasurer prices the firing once there is one.
    """
    day = (firing.started_at or at).astimezone(Studio.current().zone).date()
    if firing.energy_wh and tariff_on(day) is not None:
        post_firing_cost(firing, by, at)
