"""Two people at the books at once. Threads with connections of their own, on either engine."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor, wait
from threading import Barrier
from typing import Any

from django.db import connection, transaction

from billing.actions.balances import balance_minor_of
from billing.actions.close_month import close_month
from billing.actions.ledger import hold_ledger
from billing.actions.payments import record_payment
from billing.actions.price_firing import post_firing_cost
from billing.models import FiringCost, MonthClose, Payment, Statement
from billing.refusals import BillingRefusal
from firings.models import Firing
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_MARCH, MARCH, NOON

HELD_S = 0.5


def at_once(*deeds: Callable[[], Any]) -> list[Any]:
    """Run deeds in threads that start together; what each gave, or the refusal it met."""
    start = Barrier(len(deeds))

    def run(deed: Callable[[], Any]) -> Any:
        start.wait(timeout=20)
        return _in_thread(deed)

    with ThreadPoolExecutor(len(deeds)) as pool:
        return list(pool.map(run, deeds))


def _in_thread(deed: Callable[[], Any]) -> Any:
    try:
        return deed()
    except BillingRefusal as refusal:
        return refusal.code
    finally:
        connection.close()


def price(firing: Firing) -> FiringCost:
    with transaction.atomic():
        return post_firing_cost(firing, None, NOON)


def pay(books: Books) -> Payment:
    return record_payment(
        by=books.treasurer,
        at=AFTER_MARCH,
        account=books.ada_account,
        received_on=MARCH,
        amount_minor=100,
        method="bank",
        reference="once",
    )


def close(books: Books) -> MonthClose:
    return close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)


def test_two_closes_at_once_close_once(committed_books: Books) -> None:
    books = committed_books
    price(books.firing())
    outcomes = at_once(lambda: close(books), lambda: close(books), lambda: close(books))
    assert sorted(map(str, outcomes)) == ["March 2026", "month_closed", "month_closed"]
    assert list(Statement.objects.order_by("number").values_list("number", flat=True)) == [1, 2]


def test_same_payment_twice_at_once_is_recorded_once(committed_books: Books) -> None:
    books = committed_books
    outcomes = at_once(lambda: pay(books), lambda: pay(books))
    assert "payment_twice" in outcomes
    assert Payment.objects.count() == 1


def test_firing_priced_twice_at_once_is_posted_once(committed_books: Books) -> None:
    firing = committed_books.firing()
    outcomes = at_once(lambda: price(firing), lambda: price(firing))
    assert "firing_posted" in outcomes
    assert FiringCost.objects.count() == 1


def test_payment_during_a_close_is_on_the_statement_or_in_the_next_month(
    committed_books: Books,
) -> None:
    books = committed_books
    price(books.firing())
    at_once(lambda: close(books), lambda: pay(books))
    stated = Statement.objects.get(account=books.ada_account).closing_minor
    assert stated == balance_minor_of(books.ada_account, MARCH.replace(day=31))
    assert balance_minor_of(books.ada_account, AFTER_MARCH.date()) == 479


def test_rival_waits_as_long_as_the_ledger_is_held(committed_books: Books) -> None:
    books = committed_books
    with ThreadPoolExecutor(1) as pool:
        with transaction.atomic():
            hold_ledger()
            rival = pool.submit(_in_thread, lambda: pay(books))
            assert not wait([rival], timeout=HELD_S).done
        assert rival.result(timeout=20).amount_minor == 100


def test_control_rival_goes_ahead_when_nobody_holds_the_ledger(committed_books: Books) -> None:
    """The same rival in the same time: what made it wait above was the hold."""
    books = committed_books
    with ThreadPoolExecutor(1) as pool:
        rival = pool.submit(_in_thread, lambda: pay(books))
        assert wait([rival], timeout=20 * HELD_S).done
