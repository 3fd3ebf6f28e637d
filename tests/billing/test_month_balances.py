"""Balances start from what a close kept. They can never differ from the journal's own sums:
`tests/billing/test_ledger_stays_balanced.py` compares the two after any sequence of deeds."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from billing.actions.balances import balance_minor_of, ledger_balances_on, owed_on
from billing.actions.close_month import close_month
from billing.actions.payments import record_payment
from billing.actions.price_firing import post_firing_cost
from billing.models import LedgerAccount, MonthBalance, MonthClose, Statement
from billing.refusals import BillingRefusal
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_APRIL, AFTER_MARCH, APRIL, MARCH, NOON

LAST_OF_MARCH = date(2026, 3, 31)


@pytest.fixture
def closed(books: Books) -> Books:
    """March with a firing (Ada and Ben owe 5.79 each) and 2.00 from Ada, closed."""
    with transaction.atomic():
        post_firing_cost(books.firing(), books.manager, NOON)
    pay(books, 200, NOON)
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    return books


def pay(books: Books, amount_minor: int, at: object) -> None:
    record_payment(
        by=books.treasurer,
        at=at,
        account=books.ada_account,
        received_on=at.date(),
        amount_minor=amount_minor,
        method="bank",
    )


def test_close_keeps_every_balance_that_is_not_zero(closed: Books) -> None:
    kept = {row.account.code: row.balance_minor for row in MonthBalance.objects.all()}
    assert kept == {row.code: minor for row, minor in ledger_balances_on(LAST_OF_MARCH) if minor}
    assert sum(kept.values()) == 0
    assert set(MonthBalance.objects.values_list("on", flat=True)) == {LAST_OF_MARCH}


def test_balance_before_and_after_the_day_that_was_kept(closed: Books) -> None:
    pay(closed, 100, AFTER_MARCH)
    account = closed.ada_account
    days = [NOON.date() - timedelta(days=1), NOON.date(), LAST_OF_MARCH, APRIL, AFTER_MARCH.date()]
    assert [balance_minor_of(account, day) for day in days] == [0, 379, 379, 379, 279]


def test_all_balances_of_a_day_are_one_question(closed: Books) -> None:
    with CaptureQueriesContext(connection) as captured:
        owed = owed_on(AFTER_MARCH.date())
    assert len(captured) == 1
    assert owed == {closed.ada_account.pk: 379, closed.ben_account.pk: 579}


def test_what_was_kept_is_read_and_not_added_up_again(closed: Books) -> None:
    """The control of the tests above: a balance that was kept wrongly would show."""
    account = _account_never_kept()
    MonthBalance.objects.create(on=LAST_OF_MARCH, account=account, balance_minor=7)
    assert dict(ledger_balances_on(APRIL))[account] == 7


def _account_never_kept() -> LedgerAccount:
    return LedgerAccount.objects.create(code="9999", name="Nobody's", kind="asset")


def test_close_is_refused_when_what_was_kept_differs_from_the_journal(closed: Books) -> None:
    MonthBalance.objects.create(on=LAST_OF_MARCH, account=_account_never_kept(), balance_minor=7)
    with pytest.raises(BillingRefusal, match="Account 9999 Nobody's was closed on") as refusal:
        close_month(by=closed.treasurer, at=AFTER_APRIL, month=APRIL)
    assert refusal.value.code == "balances_differ"
    assert (MonthClose.objects.count(), Statement.objects.count()) == (1, 2)


def test_months_closed_before_balances_were_kept_are_added_up(closed: Books) -> None:
    """As a studio finds it that closed months with a version that kept nothing."""
    with connection.cursor() as cursor:
        _lift_the_rules(cursor)
        cursor.execute("DELETE FROM billing_monthbalance")
    assert balance_minor_of(closed.ada_account, APRIL) == 379
    close_month(by=closed.treasurer, at=AFTER_APRIL, month=APRIL)
    assert balance_minor_of(closed.ada_account, AFTER_APRIL.date()) == 379


CHANGE = "UPDATE billing_monthbalance SET balance_minor = 1"
DELETE = "DELETE FROM billing_monthbalance"
ADD = (
    'INSERT INTO billing_monthbalance ("on", account_id, balance_minor) '
    "SELECT %s, account_id, 5 FROM billing_monthbalance WHERE balance_minor = 379"
)


@pytest.mark.parametrize(
    ("rule", "sql", "days"),
    [
        ("month_balance_is_not_changed", CHANGE, []),
        ("month_balance_is_not_deleted", DELETE, []),
        ("month_balance_is_of_the_month_just_closed", ADD, ["2026-02-28"]),
        ("month_balance_is_of_the_month_just_closed", ADD, ["2026-03-30"]),
        ("month_balance_is_of_the_month_just_closed", ADD, ["2026-04-30"]),
        ("month_balance_is_not_replaced|one_balance_per_month_end", ADD, ["2026-03-31"]),
    ],
)
def test_what_was_kept_is_final(closed: Books, rule: str, sql: str, days: list[str]) -> None:
    with (
        pytest.raises(IntegrityError, match=rule),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql, days)


def _lift_the_rules(cursor: object) -> None:
    if connection.vendor == "sqlite":
        cursor.execute("DROP TRIGGER month_balance_is_not_deleted")
    else:
        cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")
        cursor.execute("DROP TRIGGER month_balance_is_guarded ON billing_monthbalance")
