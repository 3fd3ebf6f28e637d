"""Money that comes in, money that is given back, and credits."""

from __future__ import annotations

from datetime import date, datetime

from django.db import transaction

from billing.actions.chart import (
    BANK,
    CASH,
    CREDITS_GIVEN,
    ChartLine,
    open_account,
    receivable_of,
)
from billing.actions.ledger import (
    Leg,
    day_words,
    hold_ledger,
    local_day,
    post_entry,
    post_reversal,
    require_reason,
)
from billing.models import JournalEntry, Payment, PaymentMethod
from billing.refusals import BillingRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.calculations.money import format_minor
from studio.models import Account, Person, Role, Studio

# A million in most currencies: more is a slip of the finger.
AMOUNT_MINOR_MAX = 100_000_000
REFERENCE_LENGTH_MAX = 80
MONEY_LIES_IN: dict[str, ChartLine] = {PaymentMethod.CASH: CASH, PaymentMethod.BANK: BANK}


def record_payment(
    *,
    by: Person,
    at: datetime,
    account: Account,
    received_on: date,
    amount_minor: int,
    method: str,
    reference: str = "",
    confirm_duplicate: bool = False,
) -> Payment:
    """Write down money received from the people of an account; negative for money paid back.

    The same amount on the same day with the same reference is refused the second time, unless
    `confirm_duplicate`. A day in a closed month counts in the first open one.
    """
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        reference = reference.strip()
        if not confirm_duplicate:
            _check_is_new(account, received_on, amount_minor, reference)
        payment = post_payment(
            by=by,
            at=at,
            account=account,
            received_on=received_on,
            amount_minor=amount_minor,
            method=method,
            reference=reference,
            source=f"{account.number}:{Payment.objects.filter(account=account).count() + 1}",
        )
    return payment


def post_payment(
    *,
    by: Person,
    at: datetime,
    account: Account,
    received_on: date,
    amount_minor: int,
    method: str,
    reference: str,
    source: str,
) -> Payment:
    """The inner part: for an action that holds the ledger and has looked for the same payment.

    `source` names the payment once for ever. Refuses amounts, ways and days that cannot be.
    """
    _check_amount(amount_minor)
    _check_method(method, reference)
    _check_day(received_on, local_day(at))
    words = "Payment" if amount_minor > 0 else "Money paid back"
    money = open_account(MONEY_LIES_IN[method])
    text = f"{words}, {PaymentMethod(method).label.lower()}"
    entry = post_entry(
        by=by,
        at=at,
        on=received_on,
        text=f"{words}, account {account.number}{f', {reference}' if reference else ''}",
        source=f"payment:{source}",
        legs=[
            Leg(money, amount_minor, text),
            Leg(receivable_of(account), -amount_minor, _with(text, reference)),
        ],
    )
    payment = Payment.objects.create(
        account=account,
        received_on=received_on,
        amount_minor=amount_minor,
        method=method,
        reference=reference,
        recorded_by=by,
        recorded_at=at,
        entry=entry,
    )
    record_deed(payment, "recorded", by=by, at=at, amount_minor=amount_minor)
    return payment


def reverse_payment(*, by: Person, at: datetime, payment: Payment, reason: str) -> JournalEntry:
    """Take back a payment that was recorded by mistake or that the bank returned."""
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        reversal = post_reversal(payment.entry, by=by, at=at, reason=reason)
        record_deed(payment, "reversed", by=by, at=at, why=reversal.reason)
    return reversal


def give_credit(
    *, by: Person, at: datetime, account: Account, amount_minor: int, reason: str
) -> JournalEntry:
    """Lower what an account owes, at the studio's expense, with a reason its people can read.

    The same amount for the same reason on the same day is refused the second time.
    """
    require_role(by, Role.TREASURER, Role.MANAGER)
    with transaction.atomic(durable=True):
        hold_ledger()
        reason = require_reason(reason)
        _check_amount(amount_minor)
        if amount_minor < 0:
            raise BillingRefusal(
                "credit_is_negative",
                "A credit is more than 0. Reverse a charge or a credit that was wrong instead.",
                field="amount_minor",
                status=422,
            )
        _check_credit_is_new(account, local_day(at), amount_minor, reason)
        source = f"credit:{account.number}:"
        number = JournalEntry.objects.filter(source__startswith=source).count() + 1
        entry = post_entry(
            by=by,
            at=at,
            on=local_day(at),
            text=f"Credit, account {account.number}: {reason}",
            source=f"{source}{number}",
            legs=[
                Leg(open_account(CREDITS_GIVEN), amount_minor, reason),
                Leg(receivable_of(account), -amount_minor, f"Credit: {reason}"),
            ],
            reason=reason,
        )
        record_deed(account, "credited", by=by, at=at, why=reason, amount_minor=amount_minor)
    return entry


def _check_credit_is_new(account: Account, on: date, amount_minor: int, reason: str) -> None:
    """A button pressed twice must not give twice."""
    same = JournalEntry.objects.filter(
        source__startswith=f"credit:{account.number}:",
        on=on,
        reason=reason,
        postings__amount_minor=amount_minor,
        reversed_by=None,
    )
    if same.exists():
        raise BillingRefusal(
            "credit_twice",
            f"This credit is given to account {account.number} today already. If another of the "
            "same amount is meant, say in its reason what sets it apart.",
            field="reason",
        )


def _with(text: str, reference: str) -> str:
    return f"{text}, {reference}" if reference else text


def _check_amount(amount_minor: int) -> None:
    if amount_minor == 0 or abs(amount_minor) > AMOUNT_MINOR_MAX:
        studio = Studio.current()
        most = format_minor(AMOUNT_MINOR_MAX, studio.currency, studio.language)
        raise BillingRefusal(
            "amount_wrong",
            f"The amount must not be 0, nor more than {most}.",
            field="amount_minor",
            status=422,
        )


def _check_method(method: str, reference: str) -> None:
    if method not in MONEY_LIES_IN:
        raise BillingRefusal(
            "method_unknown", "Choose cash or bank transfer.", field="method", status=422
        )
    if len(reference) > REFERENCE_LENGTH_MAX:
        raise BillingRefusal(
            "reference_too_long",
            f"A reference has at most {REFERENCE_LENGTH_MAX} letters.",
            field="reference",
            status=422,
        )


def _check_day(received_on: date, today: date) -> None:
    if received_on > today:
        raise BillingRefusal(
            "payment_in_future",
            f"{day_words(received_on)} is still to come. Enter the day the money arrived.",
            field="received_on",
            status=422,
        )
    if received_on.year < today.year - 2:
        raise BillingRefusal(
            "payment_too_old",
            f"{day_words(received_on)} is more than two years ago. Check the year.",
            field="received_on",
            status=422,
        )


def _check_is_new(account: Account, received_on: date, amount_minor: int, reference: str) -> None:
    same = Payment.objects.filter(
        account=account,
        received_on=received_on,
        amount_minor=amount_minor,
        reference=reference,
        entry__reversed_by=None,
    )
    if same.exists():
        studio = Studio.current()
        amount = format_minor(amount_minor, studio.currency, studio.language)
        raise BillingRefusal(
            "payment_twice",
            f"{amount} of {day_words(received_on)} with this reference is recorded for account "
            f"{account.number} already. Confirm it if the same was really paid twice.",
            field="confirm_duplicate",
        )
