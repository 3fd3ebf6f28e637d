"""The lines of the bank: confirmed as payments, set aside, brought back. The treasurer decides."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction

from billing.actions.ledger import day_words, hold_ledger, require_reason
from billing.actions.payments import REFERENCE_LENGTH_MAX, post_payment
from billing.models import BankLine, BankLineState, Payment, PaymentMethod
from billing.refusals import BillingRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.calculations.money import format_minor
from studio.models import Account, Person, Role, Studio

SAME_WITHIN = timedelta(days=5)
REASON_LENGTH_MAX = 500


def confirm_bank_line(
    *, by: Person, at: datetime, line: BankLine, account: Account, confirm_duplicate: bool = False
) -> Payment:
    """Take a line as a payment of `account`, once. What it pays follows from the balance.

    A payment of the same amount within five days is refused unless `confirm_duplicate`, except
    one that the same file lists: the bank knows its own lines apart.
    """
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        return _take(line, account, by=by, at=at, confirm_duplicate=confirm_duplicate)


def confirm_bank_lines(
    *, by: Person, at: datetime, choices: Sequence[tuple[BankLine, Account]]
) -> list[Payment]:
    """Take several lines at once, all or none; none that may be a payment recorded already."""
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        if not choices:
            raise BillingRefusal("nothing_chosen", "No line was chosen.", status=422)
        return [
            _take(line, account, by=by, at=at, confirm_duplicate=False) for line, account in choices
        ]


def set_aside_bank_line(*, by: Person, at: datetime, line: BankLine, reason: str) -> BankLine:
    """Keep a line out of the accounts, with the reason: a fee of the bank, a grant, a bill paid."""
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        held = _hold_waiting(line)
        held.reason = _reason(reason)
        held.state = BankLineState.SET_ASIDE
        held.save(update_fields=["state", "reason"])
        _record(held, "set_aside", BankLineState.PROPOSED, by=by, at=at, why=held.reason)
    return held


def bring_back_bank_line(*, by: Person, at: datetime, line: BankLine, reason: str) -> BankLine:
    """Let a line wait again: one that was set aside, or one whose payment was reversed."""
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        held = _hold(line)
        state = held.state
        if state == BankLineState.PROPOSED:
            raise BillingRefusal("bank_line_waits", f"{_name(held)} waits already.")
        if held.payment is not None and not _is_reversed(held.payment):
            raise BillingRefusal(
                "bank_line_taken",
                f"{_name(held)} is a payment of account {held.payment.account}. Take the payment "
                "back first.",
            )
        why = _reason(reason)
        held.state, held.payment, held.reason = BankLineState.PROPOSED, None, ""
        held.save(update_fields=["state", "payment", "reason"])
        _record(held, "brought_back", state, by=by, at=at, why=why)
    return held


def _take(
    line: BankLine, account: Account, *, by: Person, at: datetime, confirm_duplicate: bool
) -> Payment:
    held = _hold_waiting(line)
    if not confirm_duplicate:
        _check_is_new(held, account)
    times = held.times_taken + 1
    payment = post_payment(
        by=by,
        at=at,
        account=account,
        received_on=held.booked_on,
        amount_minor=held.amount_minor,
        method=PaymentMethod.BANK,
        reference=(held.reference or held.text)[:REFERENCE_LENGTH_MAX],
        # Were two people not kept apart, the second would find this entry posted already, and an
        # entry has one payment: the database refuses.
        source=f"bank_line:{held.pk}:{times}",
    )
    held.state, held.payment, held.times_taken = BankLineState.TAKEN, payment, times
    held.save(update_fields=["state", "payment", "times_taken"])
    _record(held, "taken", BankLineState.PROPOSED, by=by, at=at, account=account.number)
    return payment


def _hold(line: BankLine) -> BankLine:
    """The line as it stands now, kept from others; its payment is read with it."""
    held = BankLine.objects.select_for_update().get(pk=line.pk)
    if held.payment_id is not None:
        held.payment = Payment.objects.select_related("account", "entry__reversed_by").get(
            pk=held.payment_id
        )
    return held


def _hold_waiting(line: BankLine) -> BankLine:
    held = _hold(line)
    if held.payment is not None:
        raise BillingRefusal(
            "bank_line_taken",
            f"{_name(held)} was taken as a payment of account {held.payment.account} already.",
        )
    if held.state != BankLineState.PROPOSED:
        raise BillingRefusal(
            "bank_line_set_aside",
            f"{_name(held)} was set aside ({held.reason}). Bring it back first.",
        )
    return held


def _is_reversed(payment: Payment) -> bool:
    return getattr(payment.entry, "reversed_by", None) is not None


def _check_is_new(line: BankLine, account: Account) -> None:
    same = (
        Payment.objects.filter(
            account=account,
            amount_minor=line.amount_minor,
            received_on__range=(line.booked_on - SAME_WITHIN, line.booked_on + SAME_WITHIN),
            entry__reversed_by=None,
        )
        .exclude(bank_line__file=line.file_id)
        .order_by("received_on")
        .first()
    )
    if same is not None:
        studio = Studio.current()
        amount = format_minor(line.amount_minor, studio.currency, studio.language)
        raise BillingRefusal(
            "payment_twice",
            f"{amount} of {day_words(same.received_on)} is recorded for account {account} already"
            f"{f' ({same.reference})' if same.reference else ''}. If that is this line, set it "
            "aside; confirm it if the same was really paid twice.",
            field="confirm_duplicate",
            payment=same.pk,
        )


def _record(
    line: BankLine,
    deed: str,
    from_state: str,
    *,
    by: Person,
    at: datetime,
    why: str = "",
    **details: object,
) -> None:
    record_deed(
        line, deed, by=by, at=at, from_state=from_state, to_state=line.state, why=why, **details
    )


def _name(line: BankLine) -> str:
    words = str(line)
    return f"{words[:1].upper()}{words[1:]}"


def _reason(reason: str) -> str:
    reason = require_reason(reason)
    if len(reason) > REASON_LENGTH_MAX:
        raise BillingRefusal(
            "reason_too_long",
            f"A reason has at most {REASON_LENGTH_MAX} letters.",
            field="reason",
            status=422,
        )
    return reason
