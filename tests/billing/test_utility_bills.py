"""The real electricity bill, and how much of it was recovered."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from billing.actions.balances import trial_balance_on
from billing.actions.ledger import reverse_entry
from billing.actions.recovery import recovery
from billing.actions.share_month_charges import share_month_charges
from billing.actions.utility_bills import (
    pay_utility_bill,
    record_utility_bill,
    reverse_utility_bill,
)
from billing.calculations.recovery import members_part_minor
from billing.models import UtilityBill
from billing.refusals import BillingRefusal
from studio.refusals import Denied
from tests.billing.conftest import Books
from tests.billing.electricity_scene import april
from tests.billing.faces_scene import priced
from tests.billing.scene import AFTER_APRIL, APRIL

TODAY = AFTER_APRIL.date()


def bill(books: Books, **changes: Any) -> UtilityBill:
    wanted: dict[str, Any] = {
        "by": books.treasurer,
        "at": AFTER_APRIL,
        "first_day": date(2026, 4, 1),
        "last_day": date(2026, 4, 30),
        "billed_on": date(2026, 5, 1),
        "energy_wh": 300_000,
        "amount_minor": 21_000,
        "tax_minor": 1_909,
        "reference": "2026-0417",
        "settlement": "bank",
    }
    return record_utility_bill(**{**wanted, **changes})


def balances() -> dict[str, int]:
    trial, _ = trial_balance_on(TODAY)
    return {
        row.account_code: row.debit_minor - row.credit_minor
        for row in trial.rows
        if row.debit_minor or row.credit_minor
    }


def test_bill_paid_at_once_is_an_expense_from_the_bank(books: Books) -> None:
    entered = bill(books)
    assert balances() == {"1000": -21_000, "5300": 21_000}
    assert entered.entry.on == date(2026, 5, 1)
    assert entered.is_paid


def test_bill_still_owed_is_paid_later(books: Books) -> None:
    entered = bill(books, settlement="later")
    assert balances() == {"2100": -21_000, "5300": 21_000}
    pay_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, paid_on=TODAY)
    assert balances() == {"1000": -21_000, "5300": 21_000}
    with pytest.raises(BillingRefusal, match="paid already"):
        pay_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, paid_on=TODAY)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"last_day": date(2026, 3, 31)}, "last_day"),
        ({"first_day": date(2025, 3, 1)}, "last_day"),
        ({"last_day": date(2026, 5, 3)}, "last_day"),
        ({"billed_on": date(2027, 5, 1)}, "billed_on"),
        ({"billed_on": date(2026, 3, 31)}, "billed_on"),
        ({"energy_wh": -1}, "energy_wh"),
        ({"energy_wh": 10**10}, "energy_wh"),
        ({"amount_minor": 0}, "amount_minor"),
        ({"amount_minor": 10**12}, "amount_minor"),
        ({"tax_minor": 21_001}, "tax_minor"),
        ({"reference": "x" * 81}, "reference"),
        ({"settlement": "barter"}, "settlement"),
    ],
)
def test_impossible_bill_is_refused(books: Books, changes: dict[str, Any], field: str) -> None:
    with pytest.raises(BillingRefusal) as refusal:
        bill(books, **changes)
    assert refusal.value.field == field
    assert not UtilityBill.objects.exists()


def test_day_is_not_billed_twice(books: Books) -> None:
    entered = bill(books)
    with pytest.raises(BillingRefusal, match="covers some of these days") as refusal:
        bill(books, first_day=date(2026, 4, 30), last_day=date(2026, 5, 1))
    assert refusal.value.code == "days_billed"
    reverse_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, reason="Typed wrongly.")
    bill(books, amount_minor=12_000)
    bill(books, first_day=date(2026, 3, 1), last_day=date(2026, 3, 31))


def test_bill_taken_back_takes_back_its_payment(books: Books) -> None:
    entered = bill(books, settlement="later")
    pay_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, paid_on=TODAY)
    reverse_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, reason="Not ours.")
    assert balances() == {}
    with pytest.raises(BillingRefusal, match="taken back already"):
        reverse_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, reason="Again.")


def test_bill_taken_back_is_not_paid(books: Books) -> None:
    entered = bill(books, settlement="later")
    reverse_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, reason="Not ours.")
    with pytest.raises(BillingRefusal, match="taken back already"):
        pay_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, paid_on=TODAY)


@pytest.mark.parametrize("paid_on", [date(2026, 4, 30), date(2026, 5, 3)])
def test_impossible_day_of_payment_is_refused(books: Books, paid_on: date) -> None:
    entered = bill(books, settlement="later")
    with pytest.raises(BillingRefusal) as refusal:
        pay_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, paid_on=paid_on)
    assert refusal.value.field == "paid_on"


def test_entries_of_a_bill_are_not_reversed_by_themselves(books: Books) -> None:
    entered = bill(books, settlement="later")
    paid = pay_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, paid_on=TODAY)
    for entry, code in (
        (entered.entry, "entry_is_a_utility_bill"),
        (paid.paid_entry, "entry_paid_a_utility_bill"),
    ):
        with pytest.raises(BillingRefusal) as refusal:
            reverse_entry(by=books.treasurer, at=AFTER_APRIL, entry=entry, reason="no")
        assert refusal.value.code == code


def test_only_the_treasurer_enters_bills(books: Books) -> None:
    with pytest.raises(Denied):
        bill(books, by=books.manager)


# --- Recovery -------------------------------------------------------------------------------


def test_difference_is_shown_in_energy_and_in_money(books: Books) -> None:
    """8 + 2.5 kWh at 0.20 with 10 % tax are 1.76 and 0.55; the shared charges 148.50."""
    april(books)
    share_month_charges(by=books.treasurer, at=AFTER_APRIL, month=APRIL)
    bill(books)
    (row,) = recovery()
    assert (row.firings_count, row.firings_wh, row.other_wh) == (2, 10_500, 289_500)
    assert (row.members_minor, row.studio_minor) == (176 + 55 + 14_850, 0)
    assert row.other_minor == 21_000 - 15_081
    assert row.months_shared == [APRIL]


def test_what_the_studio_carries_stands_apart(books: Books) -> None:
    priced(books, is_kiln_fault=True)
    bill(books, first_day=date(2026, 3, 1), last_day=date(2026, 3, 31))
    (row,) = recovery()
    assert (row.members_minor, row.studio_minor) == (0, 888)  # 42.3 kWh at 0.21


def test_firing_counts_for_the_bill_in_whose_days_it_started(books: Books) -> None:
    priced(books)  # on 10 March
    bill(books, first_day=date(2026, 3, 1), last_day=date(2026, 3, 9))
    bill(books, first_day=date(2026, 3, 11), last_day=date(2026, 3, 31))
    assert [row.firings_count for row in recovery()] == [0, 0]
    bill(books, first_day=date(2026, 3, 10), last_day=date(2026, 3, 10))
    assert [row.firings_count for row in recovery()] == [0, 1, 0]


def test_taken_back_bill_is_not_compared(books: Books) -> None:
    entered = bill(books)
    reverse_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=entered, reason="Not ours.")
    assert recovery() == []


def test_studio_carries_its_part_of_each_line() -> None:
    # 10.00 of electricity in a pool of 15.00 of which the studio carries a third.
    assert members_part_minor(1000, 1500, 500) == 667
    assert members_part_minor(0, 0, 0) == 0
    with pytest.raises(ValueError, match="studio_minor must lie between"):
        members_part_minor(1, 1, 2)
