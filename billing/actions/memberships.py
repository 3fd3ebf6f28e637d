"""Memberships: what accounts may hold, who holds which from when to when."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction
from django.db.models import Q

from billing.actions.ledger import day_words, hold_ledger
from billing.models import ChargeStep, Membership, MembershipHolding, MembershipKind
from billing.models.memberships import BY_AMOUNT, BY_PERCENT
from billing.refusals import BillingRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Account, Person, Role

NAME_LENGTH_MAX = 60
WHOLE_BP = 10_000
SURCHARGE_BP_MAX = 100_000
AMOUNT_MINOR_MAX = 10_000_000
AREA_MM2_MAX = 100_000_000
POSSIBLE_YEARS = range(1990, 2100)
KEEPERS = (Role.TREASURER, Role.MANAGER)


def add_membership(
    *,
    by: Person,
    at: datetime,
    name: str,
    kind: str,
    basis_points: int = 0,
    amount_minor: int = 0,
    area_mm2: int = 0,
) -> Membership:
    """Add something that accounts can hold. Of the three values only its kind's own is kept."""
    require_role(by, *KEEPERS)
    with transaction.atomic(durable=True):
        hold_ledger()
        wanted = Membership(name=name.strip(), kind=kind)
        _check_name(wanted)
        _set_value(wanted, basis_points, amount_minor, area_mm2)
        wanted.save()
        record_deed(wanted, "added", by=by, at=at, kind=kind, value=wanted.value)
    return wanted


def edit_membership(
    *,
    by: Person,
    at: datetime,
    membership: Membership,
    name: str,
    is_offered: bool,
    basis_points: int = 0,
    amount_minor: int = 0,
    area_mm2: int = 0,
) -> Membership:
    """Change a membership. Once it has changed a charge, only whether it is still offered.

    Accounts that hold one that is not offered any more keep it until their last day.
    """
    require_role(by, *KEEPERS)
    with transaction.atomic(durable=True):
        hold_ledger()
        membership = Membership.objects.select_for_update().get(pk=membership.pk)
        before = (membership.name, membership.value)
        membership.name, membership.is_offered = name.strip(), is_offered
        _check_name(membership)
        _set_value(membership, basis_points, amount_minor, area_mm2)
        if (membership.name, membership.value) != before:
            _check_is_not_used(membership)
        membership.save()
        record_deed(
            membership, "edited", by=by, at=at, value=membership.value, is_offered=is_offered
        )
    return membership


def give_membership(
    *,
    by: Person,
    at: datetime,
    account: Account,
    membership: Membership,
    valid_from: date,
    valid_until: date | None = None,
) -> MembershipHolding:
    """Let an account hold a membership for the firings that start from a day on."""
    require_role(by, *KEEPERS)
    with transaction.atomic(durable=True):
        hold_ledger()
        membership = Membership.objects.get(pk=membership.pk)
        if not membership.is_offered:
            raise BillingRefusal(
                "membership_not_offered",
                f"{membership} is not offered any more.",
                field="membership",
            )
        _check_days(valid_from, valid_until)
        _check_is_alone(account, membership, valid_from, valid_until)
        holding = MembershipHolding.objects.create(
            account=account,
            membership=membership,
            valid_from=valid_from,
            valid_until=valid_until,
            given_by=by,
            given_at=at,
        )
        record_deed(
            account, "given a membership", by=by, at=at, membership=str(membership),
            valid_from=str(valid_from), valid_until=str(valid_until or ""),
        )  # fmt: skip
    return holding


def change_holding(
    *, by: Person, at: datetime, holding: MembershipHolding, valid_until: date | None
) -> MembershipHolding:
    """Set or take away the last day of a holding. Charges that were posted stay as they are."""
    require_role(by, *KEEPERS)
    with transaction.atomic(durable=True):
        hold_ledger()
        holding = MembershipHolding.objects.select_for_update().get(pk=holding.pk)
        _check_days(holding.valid_from, valid_until)
        _check_is_alone(
            holding.account, holding.membership, holding.valid_from, valid_until, but=holding
        )
        holding.valid_until = valid_until
        holding.save(update_fields=["valid_until"])
        record_deed(
            holding.account, "membership changed", by=by, at=at,
            membership=str(holding.membership), valid_until=str(valid_until or ""),
        )  # fmt: skip
    return holding


def _check_name(wanted: Membership) -> None:
    if not wanted.name or len(wanted.name) > NAME_LENGTH_MAX:
        raise _wrong("name", f"Name it in 1 to {NAME_LENGTH_MAX} letters.")
    if Membership.objects.filter(name__iexact=wanted.name).exclude(pk=wanted.pk).exists():
        raise _wrong("name", f"There is a membership called {wanted.name} already.")


def _set_value(wanted: Membership, basis_points: int, amount_minor: int, area_mm2: int) -> None:
    """Keep the value of the membership's kind, and refuse one that cannot be."""
    wanted.basis_points = wanted.amount_minor = wanted.area_mm2 = 0
    if wanted.kind in BY_PERCENT:
        is_surcharge = wanted.kind == MembershipKind.SURCHARGE
        most = SURCHARGE_BP_MAX if is_surcharge else WHOLE_BP
        _check_between("basis_points", basis_points, most, f"{most // 100} %")
        wanted.basis_points = basis_points
    elif wanted.kind in BY_AMOUNT:
        _check_between("amount_minor", amount_minor, AMOUNT_MINOR_MAX, "any firing costs")
        wanted.amount_minor = amount_minor
    elif wanted.kind == MembershipKind.AREA_ALLOWANCE:
        _check_between("area_mm2", area_mm2, AREA_MM2_MAX, "100 square metres")
        wanted.area_mm2 = area_mm2
    else:
        raise _wrong("kind", "Choose what holding it does.")


def _check_between(field: str, value: int, most: int, words: str) -> None:
    if not 1 <= value <= most:
        raise _wrong(field, f"More than 0, and no more than {words}.")


def _check_is_not_used(membership: Membership) -> None:
    if ChargeStep.objects.filter(membership=membership).exists():
        raise BillingRefusal(
            "membership_used",
            "It has changed charges already and stays as it is. Add another membership, end this "
            "one where it is held, and give the new one from a later day.",
        )


def _check_days(valid_from: date, valid_until: date | None) -> None:
    if valid_from.year not in POSSIBLE_YEARS:
        raise _wrong("valid_from", f"{day_words(valid_from)} cannot be. Check the year.")
    if valid_until is not None and valid_until.year not in POSSIBLE_YEARS:
        raise _wrong("valid_until", f"{day_words(valid_until)} cannot be. Check the year.")
    if valid_until is not None and valid_until < valid_from:
        raise _wrong("valid_until", "The last day lies before the first.")


def _check_is_alone(
    account: Account,
    membership: Membership,
    valid_from: date,
    valid_until: date | None,
    but: MembershipHolding | None = None,
) -> None:
    """The same membership twice at once would give its allowance twice."""
    same = MembershipHolding.objects.filter(account=account, membership=membership).filter(
        Q(valid_until=None) | Q(valid_until__gte=valid_from)
    )
    if valid_until is not None:
        same = same.filter(valid_from__lte=valid_until)
    if but is not None:
        same = same.exclude(pk=but.pk)
    found = same.first()
    if found is not None:
        raise BillingRefusal(
            "holding_overlaps",
            f"Account {account.number} holds {membership} from {day_words(found.valid_from)} "
            "already. Choose other days, or end that one first.",
            field="valid_until" if but else "valid_from",
        )


def _wrong(field: str, message: str) -> BillingRefusal:
    return BillingRefusal(f"membership_{field}_wrong", message, field=field, status=422)
