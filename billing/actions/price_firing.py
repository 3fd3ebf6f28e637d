"""A firing's cost is worked out, split over the bookings in the load, and posted once."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction

from billing.actions.firing_legs import firing_legs
from billing.actions.ledger import hold_ledger, post_entry, post_reversal, require_reason
from billing.actions.membership_terms import CrewCredit
from billing.actions.share_working import booking_working, carried_working, crew_sentence
from billing.actions.split_firing import Split, split_firing
from billing.calculations.memberships import Step
from billing.models import ChargeStep, CostLine, FiringCost, Refund, Share, StepKind
from billing.refusals import BillingRefusal
from firings.models import Firing, FiringState
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role, Studio


def post_firing_cost(firing: Firing, by: Person | None, at: datetime) -> FiringCost:
    """Price a firing and post its cost: the inner part of closing and of pricing again.

    Dated the local day the firing started. Refused while another cost of it stands.
    """
    policy, studio = hold_ledger(), Studio.current()
    if FiringCost.objects.filter(firing=firing, reversed_at=None).exists():
        raise BillingRefusal(
            "firing_posted", f"The cost of {firing} is posted already. Reverse it first."
        )
    split = split_firing(firing, at, policy, studio)
    cost = _write_cost(firing, split, studio, at)
    legs = firing_legs(firing, split)
    if legs:
        cost.entry = post_entry(
            by=by,
            at=at,
            on=(firing.started_at or at).astimezone(studio.zone).date(),
            text=f"{firing} in {firing.kiln}",
            source=f"firing:{firing.pk}:{FiringCost.objects.filter(firing=firing).count()}",
            legs=legs,
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
        # What was given back of it is charged again with the charge that is taken back.
        refunds = Refund.objects.filter(share__cost=cost, entry__reversed_by=None)
        for refund in refunds.select_related("entry").order_by("pk"):
            post_reversal(refund.entry, by=by, at=at, reason=reason)
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


def _write_cost(firing: Firing, split: Split, studio: Studio, at: datetime) -> FiringCost:
    cost = FiringCost.objects.create(
        firing=firing,
        tariff=split.tariff,
        policy=split.result.policy,
        rule=dict(split.rule),
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
    Share.objects.bulk_create(_shares(cost, split, studio))
    ChargeStep.objects.bulk_create([*_steps(cost, split), *_crew_steps(cost, split, studio)])
    return cost


def _shares(cost: FiringCost, split: Split, studio: Studio) -> list[Share]:
    if split.carried:
        working = carried_working(split.lines, split.carried.reason, studio)
        return [
            Share(
                cost=cost,
                booking=booking,
                account=booking.account,
                area_mm2=booking.charged_area_mm2,
                amount_minor=0,
                working=working,
            )
            for booking in split.bookings
        ]
    return [
        Share(
            cost=cost,
            booking=booking,
            account=booking.account,
            area_mm2=booking.charged_area_mm2,
            split_minor=charge.split_minor,
            amount_minor=charge.charged_minor,
            working=booking_working(split, number, studio),
        )
        for number, (booking, charge) in enumerate(zip(split.bookings, split.charges, strict=True))
    ]


def _steps(cost: FiringCost, split: Split) -> list[ChargeStep]:
    """The steps after the split, each with the share it belongs to."""
    shares = {share.booking_id: share for share in cost.shares.all()}
    return [
        _step(cost, split, shares[charge.booking_number], step)
        for charge in split.charges
        for step in charge.steps
    ]


def _step(cost: FiringCost, split: Split, share: Share, step: Step) -> ChargeStep:
    held = None if step.key is None else split.held[step.key]
    return ChargeStep(
        cost=cost,
        share=share,
        account_id=share.account_id,
        membership=None if held is None else held.membership,
        kind=step.kind,
        text=StepKind.MINIMUM.label if held is None else held.membership.name,
        amount_minor=step.amount_minor,
        used=step.used,
        working=dict(step.working),
    )


def _crew_steps(cost: FiringCost, split: Split, studio: Studio) -> list[ChargeStep]:
    return [
        ChargeStep(
            cost=cost,
            account_id=credit.holding.account_id,
            membership=credit.holding.membership,
            kind=StepKind.CREW,
            text=f"{credit.holding.membership.name}, {credit.person.name}"[:120],
            amount_minor=-credit.amount_minor,
            working=_crew_working(credit, studio),
        )
        for credit in split.crew
    ]


def _crew_working(credit: CrewCredit, studio: Studio) -> dict[str, Any]:
    return {
        "person": credit.person.pk,
        "minutes": credit.minutes,
        "charged_minor": credit.charged_minor,
        "value": credit.holding.membership.value,
        "amount_minor": credit.amount_minor,
        "sentence": crew_sentence(credit, studio),
    }


def _studio_reason(split: Split) -> str:
    if split.carried:
        return split.carried.reason
    return "the empty area" if split.studio_minor else ""
