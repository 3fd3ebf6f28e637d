"""What the other apps announce, and what it means for the books, inside the deed's transaction."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.dispatch import receiver

from billing.actions.ledger import hold_ledger
from billing.actions.life_estimates import learn_from_replacement
from billing.actions.pay_replacement import post_replacement
from billing.actions.price_firing import post_firing_cost
from billing.actions.tariffs import tariff_on
from billing.models import JournalEntry
from billing.refusals import BillingRefusal
from firings.facts import firing_aborted, firing_closed, part_replaced
from firings.models import Firing, KilnPart
from studio.facts import studio_changing
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


@receiver(part_replaced, dispatch_uid="billing pays replaced parts")
def pay_replaced_part(
    sender: object,
    *,
    part: KilnPart,
    fitted: KilnPart,
    cost_minor: int,
    by: Person | None,
    at: datetime,
    **_: object,
) -> None:
    """What replacing a part cost comes out of its kiln's wear reserve; its life is learned from."""
    post_replacement(part, cost_minor, by=by, at=at)
    learn_from_replacement(part, fitted, by=by, at=at)


@receiver(studio_changing, dispatch_uid="billing keeps its currency")
def keep_currency(sender: object, *, changes: dict[str, tuple[Any, Any]], **_: object) -> None:
    """Amounts are kept in minor units of one currency: it cannot change under what is posted."""
    if "currency" not in changes:
        return
    hold_ledger()  # or the first entry could be posted meanwhile
    if JournalEntry.objects.exists():
        old, new = changes["currency"]
        raise BillingRefusal(
            "currency_in_use",
            f"The books are kept in {old} already; they cannot be continued in {new}.",
            field="currency",
        )
