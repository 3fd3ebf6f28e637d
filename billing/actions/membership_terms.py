"""What memberships do to a firing's charges: the terms that hold on its day, and what is left."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from django.db.models import Sum

from billing.calculations.memberships import (
    CREW_KINDS,
    CrewTerm,
    Term,
    crew_credit_minor,
)
from billing.calculations.wall_clock import next_month
from billing.models import ChargeStep, CrewTurn, MembershipHolding, MembershipKind
from firings.models import Firing
from studio.models import Person

ALLOWANCES = (MembershipKind.AREA_ALLOWANCE, MembershipKind.AMOUNT_ALLOWANCE)


@dataclass(frozen=True)
class CrewCredit:
    """What somebody's account is credited for the work at one firing."""

    holding: MembershipHolding
    person: Person
    minutes: int
    charged_minor: int
    amount_minor: int


def held_by(accounts: Collection[int], day: date) -> list[MembershipHolding]:
    """The memberships that accounts hold on a day."""
    held = MembershipHolding.objects.on(day).filter(account__in=accounts)
    return list(held.select_related("membership").order_by("pk"))


def terms_of(
    holdings: Sequence[MembershipHolding], day: date, zone: ZoneInfo
) -> dict[int, tuple[Term, ...]]:
    """By account, what changes a booking's charge; an allowance with what it still gives."""
    charging = [held for held in holdings if not held.membership.is_for_crew]
    used = used_in_month(charging, day, zone)
    terms: dict[int, list[Term]] = defaultdict(list)
    for held in charging:
        value = held.membership.value
        if held.membership.kind in ALLOWANCES:
            value = max(value - used.get((held.account_id, held.membership_id), 0), 0)
        terms[held.account_id].append(
            Term(held.pk, held.membership.kind, value)  # type: ignore[arg-type]  # a choice field
        )
    return {account_id: tuple(found) for account_id, found in terms.items()}


def used_in_month(
    holdings: Sequence[MembershipHolding], day: date, zone: ZoneInfo
) -> dict[tuple[int, int], int]:
    """What firings that started in the month of `day` used of allowances, by account and
    membership; costs that were taken back do not count."""
    allowances = {held.membership_id for held in holdings if held.membership.kind in ALLOWANCES}
    if not allowances:
        return {}
    month = day.replace(day=1)
    start, end = (datetime(d.year, d.month, 1, tzinfo=zone) for d in (month, next_month(month)))
    used = (
        ChargeStep.objects.filter(
            membership__in=allowances,
            account__in={held.account_id for held in holdings},
            cost__reversed_at=None,
            cost__firing__started_at__gte=start,
            cost__firing__started_at__lt=end,
        )
        .order_by()
        .values_list("account", "membership")
        .annotate(Sum("used"))
    )
    return {(account, membership): so_far or 0 for account, membership, so_far in used}


def crew_of(firing: Firing) -> list[tuple[Person, int]]:
    """Who worked at a firing and for how many minutes: those whose work was noted, or else
    whoever started it, without minutes."""
    turns = CrewTurn.objects.filter(firing=firing).select_related("person__account")
    noted = [(turn.person, turn.minutes) for turn in turns.order_by("pk")]
    if noted or firing.started_by is None:
        return noted
    return [(firing.started_by, 0)]


def crew_credits(firing: Firing, day: date, charged_minor: Mapping[int, int]) -> list[CrewCredit]:
    """The credits of those who worked at a firing, by the memberships of their accounts.

    `charged_minor` is what the firing charges each account. A percentage is of that, once for an
    account and never more than the whole of it.
    """
    crew = crew_of(firing)
    accounts = {person.account_id for person, _ in crew if person.account_id is not None}
    holdings = held_by(accounts, day) if accounts else []
    left_minor = dict(charged_minor)
    found: list[CrewCredit] = []
    seen: set[int] = set()
    for person, minutes in crew:
        for held in holdings:
            by_percent = held.membership.kind == MembershipKind.CREW_PERCENT
            if held.account_id != person.account_id or held.membership.kind not in CREW_KINDS:
                continue
            if by_percent and held.pk in seen:
                continue
            seen.add(held.pk)
            of_minor = charged_minor.get(held.account_id, 0)
            term = CrewTerm(held.pk, held.membership.kind, held.membership.value)
            amount_minor = crew_credit_minor(term, minutes, of_minor)
            if by_percent:
                amount_minor = min(amount_minor, left_minor.get(held.account_id, 0))
                left_minor[held.account_id] = left_minor.get(held.account_id, 0) - amount_minor
            if amount_minor:
                found.append(CrewCredit(held, person, minutes, of_minor, amount_minor))
    return found
