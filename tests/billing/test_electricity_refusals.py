"""What the database refuses about bills, shared charges and used tariffs, by raw SQL."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from django.db import DataError, IntegrityError, connection, transaction

from billing.actions.payments import record_payment
from billing.actions.share_month_charges import share_month_charges
from billing.actions.utility_bills import record_utility_bill, reverse_utility_bill
from billing.models import JournalEntry, MonthCharges, UtilityBill
from tests.billing.conftest import Books
from tests.billing.electricity_scene import april, charged_tariff, hot, price
from tests.billing.scene import AFTER_APRIL, APRIL, fire_with_ware, make_account
from tests.billing.test_database_refusals import refused, run


@pytest.fixture
def posted(books: Books) -> JournalEntry:
    """Some entry that stands in the books."""
    return record_payment(
        by=books.treasurer,
        at=AFTER_APRIL,
        account=books.ada_account,
        received_on=date(2026, 5, 1),
        amount_minor=500,
        method="cash",
    ).entry


ADD_BILL = (
    "INSERT INTO billing_utilitybill (first_day, last_day, billed_on, energy_wh, amount_minor, "
    "tax_minor, reference, settlement, entry_id, recorded_by_id, recorded_at) VALUES "
    "(%s, %s, '2026-05-01', 1000, 100, 0, '', 'bank', %s, %s, '2026-05-02 10:00:00+00:00')"
)


@pytest.fixture
def bill(books: Books) -> UtilityBill:
    return record_utility_bill(
        by=books.treasurer,
        at=AFTER_APRIL,
        first_day=date(2026, 4, 1),
        last_day=date(2026, 4, 30),
        billed_on=date(2026, 5, 1),
        energy_wh=300_000,
        amount_minor=21_000,
    )


@pytest.mark.parametrize(
    ("first", "last"), [("2026-04-30", "2026-05-02"), ("2026-03-01", "2026-04-01")]
)
def test_no_day_is_billed_twice(
    bill: UtilityBill, posted: JournalEntry, first: str, last: str
) -> None:
    refused("no_day_is_billed_twice", ADD_BILL, first, last, posted.pk, bill.recorded_by_id)


@pytest.mark.parametrize(
    ("rule", "change"),
    [
        ("bill_is_not_changed", "amount_minor = 1"),
        ("bill_is_not_changed", "last_day = '2026-04-29'"),
        ("bill_is_not_changed", "energy_wh = 1"),
    ],
)
def test_bill_is_not_changed(bill: UtilityBill, rule: str, change: str) -> None:
    refused(rule, f"UPDATE billing_utilitybill SET {change} WHERE id = %s", bill.pk)  # noqa: S608


def test_bill_taken_back_stays_so(books: Books, bill: UtilityBill) -> None:
    reverse_utility_bill(by=books.treasurer, at=AFTER_APRIL, bill=bill, reason="no")
    refused(
        "bill_is_not_changed",
        "UPDATE billing_utilitybill SET reversed_at = NULL WHERE id = %s",
        bill.pk,
    )


def test_bill_is_not_deleted(bill: UtilityBill) -> None:
    refused("bill_is_not_deleted", "DELETE FROM billing_utilitybill WHERE id = %s", bill.pk)


@pytest.mark.parametrize(
    ("rule", "days", "amounts"),
    [
        ("bill_runs_forward", ("2026-04-02", "2026-04-01"), (1, 100, 0)),
        ("bill_asks_for_something", ("2026-04-01", "2026-04-01"), (1, 0, 0)),
        ("tax_is_part_of_its_bill", ("2026-04-01", "2026-04-01"), (1, 100, 101)),
    ],
)
def test_bill_that_cannot_be_is_refused(
    books: Books,
    posted: JournalEntry,
    rule: str,
    days: tuple[str, str],
    amounts: tuple[int, int, int],
) -> None:
    sql = ADD_BILL.replace("1000, 100, 0", ", ".join(map(str, amounts)))
    if rule == "bill_runs_forward" and connection.vendor == "postgresql":
        rule = "bill_runs_forward|range lower bound"  # the range of days says it first
    with pytest.raises((IntegrityError, DataError), match=rule), transaction.atomic():
        run(sql, *days, posted.pk, books.treasurer.pk)


@pytest.fixture
def charges(books: Books) -> MonthCharges:
    april(books)
    return share_month_charges(by=books.treasurer, at=AFTER_APRIL, month=APRIL)


@pytest.mark.parametrize(
    "change", ["total_minor = 1", "entry_id = NULL", "month = '2026-05-01'", "studio_parts = '[1]'"]
)
def test_shared_charges_are_not_changed(charges: MonthCharges, change: str) -> None:
    refused(
        "posted_month_charges_are_not_changed",
        f"UPDATE billing_monthcharges SET {change} WHERE id = %s",  # noqa: S608
        charges.pk,
    )


def test_shared_charges_are_not_deleted(charges: MonthCharges) -> None:
    refused(
        "posted_month_charges_are_not_deleted",
        "DELETE FROM billing_monthcharges WHERE id = %s",
        charges.pk,
    )


@pytest.mark.parametrize("table", ["billing_monthchargeline", "billing_monthchargeshare"])
def test_parts_of_shared_charges_are_final(charges: MonthCharges, table: str) -> None:
    for sql in (f"UPDATE {table} SET amount_minor = 1", f"DELETE FROM {table}"):  # noqa: S608
        refused("part_of_posted_charges_is_not_changed", sql)


def test_shared_charges_take_no_part(charges: MonthCharges) -> None:
    refused(
        "posted_charges_take_no_part",
        "INSERT INTO billing_monthchargeshare (charges_id, account_id, amount_minor, working) "
        "VALUES (%s, %s, 1, '{}')",
        charges.pk,
        make_account(900, "Raw").pk,
    )


ADD_CHARGES = (
    "INSERT INTO billing_monthcharges (month, total_minor, studio_minor, studio_parts, entry_id, "
    "made_by_id, made_at) VALUES (%s, 100, 100, '[]', %s, %s, '2026-05-02 10:00:00+00:00')"
)


def test_charges_of_a_month_are_shared_once(charges: MonthCharges) -> None:
    refused(
        "charges_of_a_month_are_shared_once|posted_month_charges_are_not_replaced"
        "|billing_monthcharges.month",
        ADD_CHARGES,
        "2026-04-01",
        None,
        charges.made_by_id,
    )


def test_charges_are_written_open_and_add_up(books: Books, posted: JournalEntry) -> None:
    refused(
        "month_charges_are_written_open", ADD_CHARGES, "2026-05-01", posted.pk, books.treasurer.pk
    )
    run(ADD_CHARGES, "2026-05-01", None, books.treasurer.pk)
    refused(
        "posted_month_charges_add_up",
        "UPDATE billing_monthcharges SET entry_id = %s",
        posted.pk,
    )


def test_charges_are_named_by_the_first_of_their_month(books: Books) -> None:
    refused(
        "charges_are_named_by_the_first_of_their_month",
        ADD_CHARGES,
        "2026-05-02",
        None,
        books.treasurer.pk,
    )


def test_tariff_of_shared_charges_is_final(charges: MonthCharges) -> None:
    tariff = charges.lines.first().tariff_id
    refused(
        "used_tariff_is_not_changed",
        "UPDATE billing_tariffversion SET name = 'other' WHERE id = %s",
        tariff,
    )
    refused("used_tariff_is_not_deleted", "DELETE FROM billing_tariffversion WHERE id = %s", tariff)


def test_tariff_of_the_end_of_a_firing_is_final(books: Books) -> None:
    version = charged_tariff()
    start_at = datetime(2026, 3, 31, 21, tzinfo=UTC)  # 23:00 in Berlin
    firing = fire_with_ware(
        books.kiln, [(books.ada, 10_000)], started_at=start_at, **hot(start_at, 1, 1, 1, 1)
    )
    price(firing, books)
    refused(
        "used_tariff_is_not_changed",
        "UPDATE billing_tariffversion SET name = 'other' WHERE id = %s",
        version.pk,
    )
    refused(
        "used_tariff_is_not_deleted",
        "DELETE FROM billing_tariffversion WHERE id = %s",
        version.pk,
    )
