"""What an account holds, and what its allowances still give this month."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any
from zoneinfo import ZoneInfo

from django.db.models import Q

from billing.actions.membership_terms import ALLOWANCES, used_in_month
from billing.models import MembershipHolding
from studio.models import Account


@dataclass(frozen=True)
class Held:
    """A membership as its account sees it; `left` is what an allowance still gives this month."""

    holding: MembershipHolding
    left: int | None


def held_now(account: Account, day: date, zone: ZoneInfo) -> list[Held]:
    """What an account holds on a day, or will. One query, two with an allowance."""
    later = MembershipHolding.objects.filter(account=account).filter(
        Q(valid_until=None) | Q(valid_until__gte=day)
    )
    holdings = list(later.select_related("membership").order_by("valid_from", "pk"))
    used = used_in_month(holdings, day, zone)
    return [Held(one, _left(one, used, day)) for one in holdings]


def _left(holding: MembershipHolding, used: dict[Any, int], day: date) -> int | None:
    membership = holding.membership
    if membership.kind not in ALLOWANCES or holding.valid_from > day:
        return None
    return max(membership.value - used.get((holding.account_id, membership.pk), 0), 0)
