from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from billing.actions.balances import balance_minor_of, ledger_balances_on
from billing.actions.ledger import reverse_entry
from billing.actions.payments import give_credit, record_payment, reverse_payment
from billing.models import JournalEntry, Payment
from billing.refusals import BillingRefusal
from studio.models import TrailEntry
from studio.refusals import Denied
from tests.billing.conftest import Books
from tests.billing.scene import NOON

TODAY = NOON.date()
LATER = NOON + timedelta(hours=1)


def pay(books: Books, **changes: Any) -> Payment:
    wanted: dict[str, Any] = {
        "by": books.treasurer,
        "at": NOON,
        "account": books.ada_account,
        "received_on": TODAY,
        "amount_minor": 2500,
        "method": "bank",
        "reference": "Ada March",
    }
    return record_payment(**{**wanted, **changes})


def balance_of(code: str) -> int:
    return {account.code: balance for account, balance in ledger_balances_on(TODAY)}[code]


def test_payment_lowers_what_is_owed(books: Books) -> None:
    payment = pay(books)
    assert balance_minor_of(books.ada_account, TODAY) == -2500
    assert balance_of("1000") == 2500
    assert payment.entry.text == "Payment, account 101, Ada March"
    assert TrailEntry.objects.get(deed="recorded").by == books.treasurer


def test_cash_lies_in_the_cash_box_and_money_can_go_back(books: Books) -> None:
    pay(books, method="cash")
    pay(books, method="cash", amount_minor=-500)
    assert balance_of("1010") == 2000
    assert balance_minor_of(books.ada_account, TODAY) == -2000


@pytest.mark.parametrize(
    ("changes", "code", "field"),
    [
        ({"amount_minor": 0}, "amount_wrong", "amount_minor"),
        ({"amount_minor": 100_000_001}, "amount_wrong", "amount_minor"),
        ({"received_on": TODAY + timedelta(days=1)}, "payment_in_future", "received_on"),
        ({"received_on": date(2020, 1, 1)}, "payment_too_old", "received_on"),
        ({"method": "shells"}, "method_unknown", "method"),
        ({"reference": "x" * 81}, "reference_too_long", "reference"),
    ],
)
def test_payment_that_cannot_be_is_refused(
    books: Books, changes: dict[str, Any], code: str, field: str
) -> None:
    with pytest.raises(BillingRefusal) as refusal:
        pay(books, **changes)
    assert (refusal.value.code, refusal.value.field, refusal.value.status) == (code, field, 422)
    assert not JournalEntry.objects.exists()


def test_same_payment_twice_needs_confirming(books: Books) -> None:
    pay(books)
    with pytest.raises(BillingRefusal, match="recorded for account 101 already") as refusal:
        pay(books, at=LATER)
    assert refusal.value.field == "confirm_duplicate"
    pay(books, at=LATER, confirm_duplicate=True)
    assert balance_minor_of(books.ada_account, TODAY) == -5000


def test_reversed_payment_may_be_entered_again(books: Books) -> None:
    payment = pay(books)
    reverse_payment(by=books.treasurer, at=LATER, payment=payment, reason="wrong account")
    assert balance_minor_of(books.ada_account, TODAY) == 0
    pay(books, at=LATER)
    assert balance_minor_of(books.ada_account, TODAY) == -2500


def test_payment_is_reversed_once_and_with_a_reason(books: Books) -> None:
    payment = pay(books)
    with pytest.raises(BillingRefusal, match="Say why"):
        reverse_payment(by=books.treasurer, at=LATER, payment=payment, reason=" ")
    reversal = reverse_payment(by=books.treasurer, at=LATER, payment=payment, reason="bounced")
    with pytest.raises(BillingRefusal, match="reversed already"):
        reverse_payment(by=books.treasurer, at=LATER, payment=payment, reason="bounced")
    with pytest.raises(BillingRefusal, match="is a reversal itself"):
        reverse_entry(by=books.treasurer, at=LATER, entry=reversal, reason="no, it did not")


def test_credit_is_at_the_studios_expense(books: Books) -> None:
    entry = give_credit(
        by=books.manager, at=NOON, account=books.ada_account, amount_minor=300, reason="cracked lid"
    )
    assert balance_minor_of(books.ada_account, TODAY) == -300
    assert balance_of("5200") == 300
    assert entry.reason == "cracked lid"


@pytest.mark.parametrize(
    ("amount_minor", "reason", "field"),
    [(300, "", "reason"), (0, "why", "amount_minor"), (-5, "why", "amount_minor")],
)
def test_credit_needs_an_amount_and_a_reason(
    books: Books, amount_minor: int, reason: str, field: str
) -> None:
    with pytest.raises(BillingRefusal) as refusal:
        give_credit(
            by=books.treasurer,
            at=NOON,
            account=books.ada_account,
            amount_minor=amount_minor,
            reason=reason,
        )
    assert refusal.value.field == field


def test_same_credit_is_given_once_a_day(books: Books) -> None:
    """A button pressed twice."""
    same = {"account": books.ada_account, "amount_minor": 300, "reason": "cracked lid"}
    first = give_credit(by=books.manager, at=NOON, **same)
    with pytest.raises(BillingRefusal) as refusal:
        give_credit(by=books.treasurer, at=NOON + timedelta(minutes=1), **same)
    assert (refusal.value.code, refusal.value.field) == ("credit_twice", "reason")
    assert balance_minor_of(books.ada_account, TODAY) == -300
    others = {"account": books.ben_account}, {"amount_minor": 301}, {"reason": "the other lid"}
    for other in others:
        give_credit(by=books.manager, at=NOON, **{**same, **other})
    give_credit(by=books.manager, at=NOON + timedelta(days=1), **same)
    reverse_entry(by=books.treasurer, at=NOON, entry=first, reason="too much")
    give_credit(by=books.manager, at=NOON, **same)


def test_only_the_treasurer_touches_money(books: Books) -> None:
    payment = pay(books)
    with pytest.raises(Denied):
        pay(books, by=books.manager)
    with pytest.raises(Denied):
        reverse_payment(by=books.ada, at=NOON, payment=payment, reason="mine")
    with pytest.raises(Denied):
        give_credit(
            by=books.ada, at=NOON, account=books.ada_account, amount_minor=9, reason="please"
        )
