"""A firing's cost falls to its bookings: the pool is split, and memberships follow the split."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from billing.actions.chart import FAULTS, FIRINGS_WITHOUT_WARE, ChartLine
from billing.actions.layer_weights import LayerWeights, layer_weights
from billing.actions.membership_terms import CrewCredit, crew_credits, held_by, terms_of
from billing.actions.pool import PoolLine, pool_lines
from billing.calculations.memberships import BookingCharge, BookingShare, charge_bookings
from billing.calculations.sharing_rules import fixed_minor
from billing.calculations.splitting import ShareRequest, SplitResult, split_pool
from billing.models import BillingPolicy, CostKind, MembershipHolding, TariffVersion
from firings.actions.load import usable_area_mm2
from firings.models import Booking, BookingState, Firing, FiringState
from studio.models import Studio

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
    """A pool and how it falls to bookings and studio, before anything is written.

    `charges` are in the order of `bookings`, with their part of the pool and the steps after it.
    """

    lines: Sequence[PoolLine]
    tariff: TariffVersion | None
    bookings: Sequence[Booking]
    usable_area_mm2: int
    result: SplitResult
    carried: Carried | None
    rule: Mapping[str, Any]
    weights: LayerWeights | None
    charges: Sequence[BookingCharge]
    held: Mapping[int, MembershipHolding]
    crew: Sequence[CrewCredit]

    @property
    def pool_minor(self) -> int:
        return self.result.pool_minor

    @property
    def studio_minor(self) -> int:
        return self.pool_minor if self.carried else self.result.studio_minor


def split_firing(firing: Firing, at: datetime, policy: BillingPolicy, studio: Studio) -> Split:
    """Work out what a firing cost and who carries it, by today's policy and memberships."""
    day = (firing.started_at or at).astimezone(studio.zone).date()
    bookings = list(
        firing.bookings.filter(state__in=CHARGED_STATES).select_related("account").order_by("pk")
    )
    lines, tariff = pool_lines(firing, bookings, at=at, policy=policy, studio=studio)
    carried = _who_carries(firing, bookings)
    charged_mm2 = sum(booking.charged_area_mm2 for booking in bookings)
    # Without ware there is nothing to split, and a broken-off firing must not ask for shelves.
    usable_mm2 = usable_area_mm2(firing) or charged_mm2 if bookings else 0
    weights = layer_weights(firing, bookings) if policy.weighs_height and bookings else None
    rule = _rule(policy, lines, weights) if bookings and not carried else {}
    result = split_pool(
        sum(line.amount_minor for line in lines),
        [
            ShareRequest(
                booking.pk,
                booking.charged_area_mm2,
                None if weights is None else weights.weight_mm3(booking),
            )
            for booking in bookings
        ],
        policy.split_policy if usable_mm2 else "used",  # type: ignore[arg-type]  # a choice field
        usable_mm2,
        fixed_minor=rule.get("fixed_minor", 0),
        usable_weight=None if weights is None else weights.usable_mm3,
    )
    charges, held = ([], {}) if carried else _charges(bookings, result, policy, day, studio)
    crew = crew_credits(firing, day, _charged_by_account(bookings, charges))
    return Split(
        lines, tariff, bookings, usable_mm2, result, carried, rule, weights, charges, held, crew
    )  # fmt: skip


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


def _rule(
    policy: BillingPolicy, lines: Sequence[PoolLine], weights: LayerWeights | None
) -> dict[str, Any]:
    """The policy as it held for this firing, to be kept with its cost."""
    energy_minor = sum(line.amount_minor for line in lines if line.kind == CostKind.ENERGY)
    return {
        "fixed_kind": policy.fixed_kind,
        "fixed_percent": policy.fixed_percent,
        "fixed_minor": fixed_minor(policy.fixed_part, energy_minor),
        "weighs_height": weights is not None,
        "minimum_minor": policy.minimum_charge_minor,
    }


def _charges(
    bookings: Sequence[Booking],
    result: SplitResult,
    policy: BillingPolicy,
    day: date,
    studio: Studio,
) -> tuple[Sequence[BookingCharge], Mapping[int, MembershipHolding]]:
    """What each booking is charged, and the holdings that the steps name."""
    holdings = held_by({booking.account_id for booking in bookings}, day)
    terms = terms_of(holdings, day, studio.zone)
    shares = [
        BookingShare(
            booking.pk,
            share.amount_minor,
            share.area_mm2,
            terms.get(booking.account_id, ()),
        )
        for booking, share in zip(bookings, result.shares, strict=True)
    ]
    charges = charge_bookings(shares, policy.minimum_charge_minor)
    return charges, {held.pk: held for held in holdings}


def _charged_by_account(
    bookings: Sequence[Booking], charges: Sequence[BookingCharge]
) -> dict[int, int]:
    charged: dict[int, int] = defaultdict(int)
    for booking, charge in zip(bookings, charges, strict=False):
        charged[booking.account_id] += charge.charged_minor
    return charged
