"""The real electricity bill: entered, paid, and taken back when it was entered wrongly."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from billing.actions.chart import BANK, ELECTRICITY, SUPPLIERS, open_account
from billing.actions.ledger import (
    Leg,
    day_words,
    hold_ledger,
    local_day,
    post_entry,
    post_reversal,
    require_reason,
)
from billing.models import BillSettlement, UtilityBill
from billing.refusals import BillingRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

REFERENCE_LENGTH_MAX = 80
AMOUNT_MINOR_MAX = 1_000_000_000
# A gigawatt-hour is more than any studio's year.
ENERGY_WH_MAX = 1_000_000_000
DAYS_MAX = 400


def record_utility_bill(
    *,
    by: Person,
    at: datetime,
    first_day: date,
    last_day: date,
    billed_on: date,
    energy_wh: int,
    amount_minor: int,
    tax_minor: int = 0,
    reference: str = "",
    settlement: str = BillSettlement.LATER,
) -> UtilityBill:
    """Enter a bill for some days, both included; `tax_minor` is part of `amount_minor`.

    It is an expense on the day of the bill, from the bank or still owed. A day that another bill
    covers already is refused.
    """
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        reference = reference.strip()
        _check_days(first_day, last_day, billed_on, local_day(at))
        _check_amounts(energy_wh, amount_minor, tax_minor)
        _check_words(reference, settlement)
        _check_is_new(first_day, last_day)
        words = f"Electricity {day_words(first_day)} to {day_words(last_day)}"
        paid_from = BANK if settlement == BillSettlement.BANK else SUPPLIERS
        entry = post_entry(
            by=by,
            at=at,
            on=billed_on,
            text=f"{words}{f', {reference}' if reference else ''}",
            source=f"utility_bill:{UtilityBill.objects.count() + 1}",
            legs=[
                Leg(open_account(ELECTRICITY), amount_minor, words),
                Leg(open_account(paid_from), -amount_minor, words),
            ],
        )
        bill = UtilityBill.objects.create(
            first_day=first_day,
            last_day=last_day,
            billed_on=billed_on,
            energy_wh=energy_wh,
            amount_minor=amount_minor,
            tax_minor=tax_minor,
            reference=reference,
            settlement=settlement,
            entry=entry,
            recorded_by=by,
            recorded_at=at,
        )
        record_deed(bill, "recorded", by=by, at=at, amount_minor=amount_minor)
    return bill


def pay_utility_bill(*, by: Person, at: datetime, bill: UtilityBill, paid_on: date) -> UtilityBill:
    """Write down that a bill still owed was paid from the bank."""
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        bill = UtilityBill.objects.get(pk=bill.pk)
        _check_stands(bill)
        if bill.is_paid:
            raise BillingRefusal("bill_paid", f"The {bill} is paid already.")
        if not bill.billed_on <= paid_on <= local_day(at):
            raise _wrong(
                "paid_on",
                f"Between the day of the bill, {day_words(bill.billed_on)}, and today.",
            )
        words = f"Paid: {bill.entry.text}"
        bill.paid_entry = post_entry(
            by=by,
            at=at,
            on=paid_on,
            text=words,
            source=f"utility_bill:{bill.pk}:paid",
            legs=[
                Leg(open_account(SUPPLIERS), bill.amount_minor, words),
                Leg(open_account(BANK), -bill.amount_minor, words),
            ],
        )
        bill.save(update_fields=["paid_entry"])
        record_deed(bill, "paid", by=by, at=at, paid_on=paid_on.isoformat())
    return bill


def reverse_utility_bill(
    *, by: Person, at: datetime, bill: UtilityBill, reason: str
) -> UtilityBill:
    """Take back a bill that was entered wrongly, and its payment; the right one can follow."""
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        reason = require_reason(reason)
        bill = UtilityBill.objects.select_related("entry", "paid_entry").get(pk=bill.pk)
        _check_stands(bill)
        for entry in (bill.paid_entry, bill.entry):
            if entry is not None:
                post_reversal(entry, by=by, at=at, reason=reason)
        bill.reversed_at = at
        bill.save(update_fields=["reversed_at"])
        record_deed(bill, "reversed", by=by, at=at, why=reason)
    return bill


def _check_stands(bill: UtilityBill) -> None:
    if bill.reversed_at is not None:
        raise BillingRefusal("reversed_already", f"The {bill} is taken back already.")


def _check_days(first_day: date, last_day: date, billed_on: date, today: date) -> None:
    if last_day < first_day:
        raise _wrong("last_day", "The last day lies before the first: check both.")
    if (last_day - first_day).days >= DAYS_MAX:
        raise _wrong("last_day", f"More than {DAYS_MAX} days on one bill: check both days.")
    if last_day > today:
        raise _wrong("last_day", "A bill is for days that are over. Check the year.")
    if not first_day <= billed_on <= today:
        raise _wrong("billed_on", "Between the first day of the bill and today. Check the year.")


def _check_amounts(energy_wh: int, amount_minor: int, tax_minor: int) -> None:
    if not 0 <= energy_wh <= ENERGY_WH_MAX:
        raise _wrong("energy_wh", "Between 0 and 1,000,000 kWh: check the number of zeros.")
    if not 0 < amount_minor <= AMOUNT_MINOR_MAX:
        raise _wrong("amount_minor", "An amount above nothing. A credit note of the supplier is "
                     "the reversal of its bill and the corrected bill after it.")  # fmt: skip
    if not 0 <= tax_minor <= amount_minor:
        raise _wrong("tax_minor", "The taxes are part of the amount, so no more than it.")


def _check_words(reference: str, settlement: str) -> None:
    if len(reference) > REFERENCE_LENGTH_MAX:
        raise _wrong("reference", f"At most {REFERENCE_LENGTH_MAX} letters.")
    if settlement not in BillSettlement.values:
        raise _wrong("settlement", "Choose whether the bank has paid it.")


def _check_is_new(first_day: date, last_day: date) -> None:
    other = UtilityBill.objects.filter(
        reversed_at=None, first_day__lte=last_day, last_day__gte=first_day
    ).first()
    if other is not None:
        raise BillingRefusal(
            "days_billed",
            f"The bill of {day_words(other.first_day)} to {day_words(other.last_day)} covers some "
            "of these days already. Correct the days, or take that bill back first.",
            field="first_day",
        )


def _wrong(field: str, message: str) -> BillingRefusal:
    return BillingRefusal(f"{field}_wrong", message, field=field, status=422)
