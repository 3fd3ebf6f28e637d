"""What pricing a firing does to the ledger: who is charged, who gives, and where it is kept."""

from __future__ import annotations

from billing.actions.chart import (
    ALLOWANCES,
    CONSUMABLES_AND_HANDLING,
    CREW_CREDITS,
    ELECTRICITY_RECOVERED,
    EMPTY_AREA,
    MINIMUM_CHARGES,
    SURCHARGES,
    open_account,
    receivables_of,
    subsidy_account,
    wear_reserve_of,
)
from billing.actions.ledger import Leg
from billing.actions.pool import PoolLine
from billing.actions.split_firing import Split
from billing.calculations.memberships import Step
from billing.models import CostKind, LedgerAccount
from firings.models import Booking, Firing


def firing_legs(firing: Firing, split: Split) -> list[Leg]:
    """Debits: each booking's account and what others carry. Credits: income and the wear reserve.

    A credit for crew is taken off the account of whoever worked, at the studio's expense. Nothing
    where nothing is moved.
    """
    legs = [*_carried_legs(firing, split), *_crew_legs(firing, split)]
    legs += [_credit(firing, line) for line in split.lines if line.amount_minor]
    return [leg for leg in legs if leg.amount_minor]


def _carried_legs(firing: Firing, split: Split) -> list[Leg]:
    if split.carried:
        text = f"Carried by the studio: {split.carried.reason}"
        return [Leg(open_account(split.carried.account), split.pool_minor, text)]
    legs: list[Leg] = []
    receivables = receivables_of({booking.account for booking in split.bookings})
    for booking, charge in zip(split.bookings, split.charges, strict=True):
        text = f"{firing}, slip {booking.slip}"
        legs.append(Leg(receivables[booking.account_id], charge.charged_minor, text))
        for step in charge.steps:
            legs.append(_step_leg(split, booking, step))
    if split.studio_minor:
        legs.append(Leg(open_account(EMPTY_AREA), split.studio_minor, f"Empty area of {firing}"))
    return legs


def _step_leg(split: Split, booking: Booking, step: Step) -> Leg:
    """The other side of a step: what a share is raised by is income, what it is lowered by is
    carried by whoever gives it."""
    held = None if step.key is None else split.held[step.key]
    name = "Minimum charge" if held is None else held.membership.name
    account: LedgerAccount
    if step.kind == "subsidy" and held is not None:
        account = subsidy_account(held.membership)
    elif step.kind == "surcharge":
        account = open_account(SURCHARGES)
    elif step.kind == "minimum":
        account = open_account(MINIMUM_CHARGES)
    else:
        account = open_account(ALLOWANCES)
    return Leg(account, -step.amount_minor, f"{name}, slip {booking.slip}")


def _crew_legs(firing: Firing, split: Split) -> list[Leg]:
    if not split.crew:
        return []
    receivables = receivables_of({credit.holding.account for credit in split.crew})
    legs: list[Leg] = []
    for credit in split.crew:
        text = f"{credit.holding.membership.name}: {credit.person.name}, {firing}"
        legs.append(Leg(open_account(CREW_CREDITS), credit.amount_minor, text))
        legs.append(Leg(receivables[credit.holding.account_id], -credit.amount_minor, text))
    return legs


def _credit(firing: Firing, line: PoolLine) -> Leg:
    if line.kind == CostKind.WEAR:
        account = wear_reserve_of(firing.kiln)
    elif line.kind == CostKind.ENERGY:
        account = open_account(ELECTRICITY_RECOVERED)
    else:
        account = open_account(CONSUMABLES_AND_HANDLING)
    return Leg(account, -line.amount_minor, line.text)
