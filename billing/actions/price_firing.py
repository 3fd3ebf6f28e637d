"""A firing's cost is worked out, split over the bookings in the load, and posted once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import transaction

from billing.actions.chart import (
    CONSUMABLES_AND_HANDLING,
    ELECTRICITY_RECOVERED,
    EMPTY_AREA,
    FAULTS,
    FIRINGS_WITHOUT_WARE,
    ChartLine,
    open_account,
    receivables_of,
    wear_reserve_of,
)
from billing.actions.ledger import Leg, hold_ledger, post_entry, post_reversal, require_reason
from billing.actions.pool import PoolLine, pool_lines
from billing.actions.share_working import booking_working, carried_working
from billing.calculations.splitting import ShareRequest, SplitResult, split_pool
from billing.models import BillingPolicy, CostKind, CostLine, FiringCost, Share, TariffVersion
from billing.refusals import BillingRefusal
from firings.actions.load import usable_area_mm2
from firings.models import Booking, BookingState, Firing, FiringState
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role, Studio

CHARGED_STATES = (
    BookingState.FIRED,
    BookingState.READY,
    BookingState.COLLECTED,
    BookingState.LOST,
)


@dataclass(frozen=True)
class Carried:
    """Why the studio carries a whole firing, and the account that shows it."""

    reason: str
    account: ChartLine


@dataclass(frozen=True)
class Split:
    """A pool and how it falls to bookings and studio, before anything is written."""

    lines: Sequence[PoolLine]
    tariff: TariffVersion | None
    bookings: Sequence[Booking]
    usable_area_mm2: int
    result: SplitResult
    carried: Carried | None

    @property
    def pool_minor(self) -> int:
        return self.result.pool_minor

    @property
    def studio_minor(self) -> int:
        return self.pool_minor if self.carried else self.result.studio_minor


def post_firing_cost(firing: Firing, by: Person | None, at: datetime) -> FiringCost:
    """Price a firing and post its cost: the inner part of closing and of pricing again.

    Dated the local day the firing started. Refused while another cost of it stands.
    """
    policy, studio = hold_ledger(), Studio.current()
    if FiringCost.objects.filter(firing=firing, reversed_at=None).exists():
        raise BillingRefusal(
            "firing_posted", f"The cost of {firing} is posted already. Reverse it first."
        )
    split = _split(firing, at, policy, studio)
    cost = _write_cost(firing, split, studio, at)
    if split.pool_minor:
        cost.entry = post_entry(
            by=by,
            at=at,
            on=(firing.started_at or at).astimezone(studio.zone).date(),
            text=f"{firing} in {firing.kiln}",
            source=f"firing:{firing.pk}:{FiringCost.objects.filter(firing=firing).count()}",
            legs=_legs(firing, split),
        )
        cost.save(update_fields=["entry"])
    record_deed(cost, "posted", by=by, at=at, pool_minor=cost.pool_minor)
    return cost


def reverse_firing_cost(*, by: Person, at: datetime, cost: FiringCost, reason: str) -> FiringCost:
    """Take back the cost of a firing with a reason; it can then be priced again."""
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        reason = require_reason(reason)
        cost = FiringCost.objects.select_related("entry", "firing").get(pk=cost.pk)
        if cost.reversed_at is not None:
            raise BillingRefusal("reversed_already", f"The {cost} is reversed already.")
        if cost.entry is not None:
            post_reversal(cost.entry, by=by, at=at, reason=reason)
        cost.reversed_at = at
        cost.save(update_fields=["reversed_at"])
        record_deed(cost, "reversed", by=by, at=at, why=reason)
    return cost


def reprice_firing(*, by: Person, at: datetime, firing: Firing) -> FiringCost:
    """Price a firing whose cost was reversed, or that was broken off without a tariff."""
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        if firing.state not in (FiringState.CLOSED, FiringState.ABORTED):
            raise BillingRefusal(
                "firing_not_over",
                f"{firing} is not closed yet. Its cost is posted when the crew closes it.",
            )
        return post_firing_cost(firing, by, at)


def _split(firing: Firing, at: datetime, policy: BillingPolicy, studio: Studio) -> Split:
    lines, tariff = pool_lines(firing, at=at, policy=policy, studio=studio)
    pool_minor = sum(line.amount_minor for line in lines)
    bookings = list(
        firing.bookings.filter(state__in=CHARGED_STATES).select_related("account").order_by("pk")
    )
    charged_mm2 = sum(booking.charged_area_mm2 for booking in bookings)
    # Without ware there is nothing to split, and a broken-off firing must not ask for shelves.
    usable_mm2 = usable_area_mm2(firing) or charged_mm2 if bookings else 0
    result = split_pool(
        pool_minor,
        [ShareRequest(booking.pk, booking.charged_area_mm2) for booking in bookings],
        policy.split_policy if usable_mm2 else "used",  # type: ignore[arg-type]  # a choice field
        usable_mm2,
    )
    return Split(lines, tariff, bookings, usable_mm2, result, _who_carries(firing, bookings))


def _who_carries(firing: Firing, bookings: Sequence[Booking]) -> Carried | None:
    """The studio's reason for carrying the whole cost; None when the bookings do."""
    if firing.state == FiringState.ABORTED:
        return Carried("the firing was broken off", FAULTS)
    if firing.is_kiln_fault:
        return Carried("the kiln itself spoiled the firing", FAULTS)
    if firing.is_empty_first_firing:
        return Carried("an empty first firing", FIRINGS_WITHOUT_WARE)
    if not bookings:
        return Carried("no member's ware was in the kiln", FIRINGS_WITHOUT_WARE)
    return None


def _write_cost(firing: Firing, split: Split, studio: Studio, at: datetime) -> FiringCost:
    cost = FiringCost.objects.create(
        firing=firing,
        tariff=split.tariff,
        policy=split.result.policy,
        pool_minor=split.pool_minor,
        studio_minor=split.studio_minor,
        studio_reason=_studio_reason(split),
        usable_area_mm2=split.usable_area_mm2,
        charged_area_mm2=sum(booking.charged_area_mm2 for booking in split.bookings),
        made_at=at,
    )
    CostLine.objects.bulk_create(
        [
            CostLine(
                cost=cost,
                kind=line.kind,
                text=line.text,
                amount_minor=line.amount_minor,
                part=line.part,
                working=dict(line.working),
            )
            for line in split.lines
        ]
    )
    Share.objects.bulk_create(
        [
            Share(
                cost=cost,
                booking=booking,
                account=booking.account,
                area_mm2=booking.charged_area_mm2,
                amount_minor=0 if split.carried else result.amount_minor,
                working=_working(split, result.working, studio),
            )
            for booking, result in zip(split.bookings, split.result.shares, strict=True)
        ]
    )
    return cost


def _studio_reason(split: Split) -> str:
    if split.carried:
        return split.carried.reason
    return "the empty area" if split.studio_minor else ""


def _working(split: Split, share: dict[str, Any], studio: Studio) -> dict[str, Any]:
    if split.carried:
        return carried_working(split.lines, split.carried.reason, studio)
    return booking_working(split.lines, share, studio)


def _legs(firing: Firing, split: Split) -> list[Leg]:
    """Debits: each booking's account and the studio. Credits: income and the wear reserve."""
    legs: list[Leg] = []
    if split.carried:
        text = f"Carried by the studio: {split.carried.reason}"
        legs.append(Leg(open_account(split.carried.account), split.pool_minor, text))
    else:
        receivables = receivables_of({booking.account for booking in split.bookings})
        for booking, share in zip(split.bookings, split.result.shares, strict=True):
            text = f"{firing}, slip {booking.slip}"
            legs.append(Leg(receivables[booking.account_id], share.amount_minor, text))
        if split.studio_minor:
            text = f"Empty area of {firing}"
            legs.append(Leg(open_account(EMPTY_AREA), split.studio_minor, text))
    return legs + [_credit(firing, line) for line in split.lines if line.amount_minor]


def _credit(firing: Firing, line: PoolLine) -> Leg:
    if line.kind == CostKind.WEAR:
        account = wear_reserve_of(firing.kiln)
    elif line.kind == CostKind.ENERGY:
        account = open_account(ELECTRICITY_RECOVERED)
    else:
        account = open_account(CONSUMABLES_AND_HANDLING)
    return Leg(account, -line.amount_minor, line.text)
