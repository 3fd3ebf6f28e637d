from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import transaction

from billing.actions.balances import (
    balances_on,
    journal,
    ledger_balances_on,
    movements_of,
    trial_balance_on,
)
from billing.actions.chart import BANK, CASH, open_account, receivable_of, wear_reserve_of
from billing.actions.close_month import close_month
from billing.actions.ledger import Leg, post_entry, reverse_entry
from billing.actions.payments import record_payment
from billing.actions.price_firing import post_firing_cost
from billing.calculations.wall_clock import next_month
from billing.models import JournalEntry, LedgerAccount
from billing.refusals import BillingRefusal
from studio.refusals import Denied
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_MARCH, MARCH, NOON, make_account


def post(books: Books, *amounts: int, on: date = MARCH, source: str = "test:1") -> JournalEntry:
    accounts = [open_account(BANK), open_account(CASH), receivable_of(books.ada_account)]
    with transaction.atomic():
        return post_entry(
            by=books.treasurer,
            at=NOON,
            on=on,
            text="A test",
            source=source,
            legs=[Leg(account, amount) for account, amount in zip(accounts, amounts, strict=False)],
        )


def test_entry_is_posted_once_for_its_source(books: Books) -> None:
    first = post(books, 5, -5)
    assert post(books, 7, -7) == first
    assert [leg.amount_minor for leg in first.postings.all()] == [5, -5]


def test_legs_of_nothing_are_left_out(books: Books) -> None:
    assert post(books, 5, 0, -5).postings.count() == 2


@pytest.mark.parametrize("amounts", [(), (5,), (5, -4), (0, 0)])
def test_legs_must_balance(books: Books, amounts: tuple[int, ...]) -> None:
    with pytest.raises(ValueError, match="sum to zero"):
        post(books, *amounts)
    assert not JournalEntry.objects.exists()


def test_entry_of_a_closed_month_is_dated_the_first_open_day(books: Books) -> None:
    post(books, 5, -5, on=date(2026, 3, 3))
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    late = post(books, 6, -6, on=date(2026, 3, 30), source="test:2")
    assert late.on == date(2026, 4, 1)
    assert late.text == "A test (of 30 March 2026, in a closed month)"


def test_posting_needs_a_transaction(committed_books: Books) -> None:
    with pytest.raises(transaction.TransactionManagementError):
        post_entry(by=None, at=NOON, on=MARCH, text="x", source="x", legs=[])


def test_reversal_mirrors_its_entry(books: Books) -> None:
    entry = post(books, 5, 2, -7)
    reversal = reverse_entry(by=books.treasurer, at=AFTER_MARCH, entry=entry, reason="a slip")
    assert [leg.amount_minor for leg in reversal.postings.all()] == [-5, -2, 7]
    assert (reversal.reverses, reversal.reason) == (entry, "a slip")
    assert reversal.on == AFTER_MARCH.date()


def test_cost_of_a_firing_is_reversed_by_its_own_action(books: Books) -> None:
    with transaction.atomic():
        cost = post_firing_cost(books.firing(), None, NOON)
    with pytest.raises(BillingRefusal, match="Reverse that cost"):
        reverse_entry(by=books.treasurer, at=NOON, entry=cost.entry, reason="a slip")


def test_only_the_treasurer_reverses_entries(books: Books) -> None:
    with pytest.raises(Denied):
        reverse_entry(by=books.manager, at=NOON, entry=post(books, 5, -5), reason="a slip")


def test_accounts_of_the_chart_are_opened_once(books: Books) -> None:
    assert receivable_of(books.ada_account) == receivable_of(books.ada_account)
    assert wear_reserve_of(books.kiln) == wear_reserve_of(books.kiln)
    assert open_account(BANK) == open_account(BANK)
    assert set(LedgerAccount.objects.values_list("code", flat=True)) == {
        "1000",
        "1200.101",
        f"2200.{books.kiln.pk}",
    }


def test_balances_agree_with_each_other(books: Books) -> None:
    with transaction.atomic():
        post_firing_cost(books.firing(), None, NOON)
    record_payment(
        by=books.treasurer,
        at=NOON,
        account=books.ben_account,
        received_on=NOON.date(),
        amount_minor=600,
        method="cash",
    )
    yesterday = NOON.date() - timedelta(days=1)
    assert [row.balance_minor for row in balances_on(NOON.date())] == [579, -21]
    assert [row.balance_minor for row in balances_on(yesterday)] == [0, 0]
    assert sum(balance for _, balance in ledger_balances_on(NOON.date())) == 0
    trial, _accounts = trial_balance_on(NOON.date())
    assert trial.is_balanced
    assert trial.debit_total_minor == 579 + 600
    assert [leg.amount_minor for leg in movements_of(books.ben_account)] == [-600, 579]


def test_journal_and_balances_ask_no_more_for_more_accounts(
    books: Books, django_assert_num_queries: object
) -> None:
    for number in range(3):
        make_account(200 + number, f"Class {number}")
        post(books, 5, -5, source=f"test:{number}")
    with django_assert_num_queries(2):
        assert len(balances_on(NOON.date())) == 5
    with django_assert_num_queries(2):
        entries = list(journal(MARCH, NOON.date()))
        assert sum(len(entry.postings.all()) for entry in entries) == 6
    cash = open_account(CASH)
    with django_assert_num_queries(2):
        assert len(journal(MARCH, NOON.date(), cash)) == 3


def test_december_is_followed_by_january() -> None:
    assert next_month(date(2025, 12, 31)) == date(2026, 1, 1)
    assert next_month(date(2026, 1, 31)) == date(2026, 2, 1)
