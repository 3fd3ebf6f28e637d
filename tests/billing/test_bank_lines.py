"""A bank's file becomes payments: once, when the treasurer says so, and never by half."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from billing.actions import bank_lines
from billing.actions.balances import balance_minor_of, trial_balance_on
from billing.actions.bank_files import take_in_bank_file
from billing.actions.bank_lines import (
    bring_back_bank_line,
    confirm_bank_line,
    confirm_bank_lines,
    set_aside_bank_line,
)
from billing.actions.bank_proposals import with_proposals
from billing.actions.payments import record_payment, reverse_payment
from billing.calculations.bank_csv import CsvMapping
from billing.models import BankFile, BankLine, BillingPolicy, JournalEntry, Payment
from billing.refusals import BillingRefusal
from studio.models import Account, TrailEntry
from studio.refusals import Denied
from tests.billing.bank_scene import IBAN, Entry, a_line, by_reference, camt, taken_in
from tests.billing.conftest import Books
from tests.billing.faces_scene import closed_march, priced, statement_of
from tests.billing.scene import AFTER_MARCH
from tests.billing.test_races import at_once

TODAY = AFTER_MARCH.date()
BOOKED = date(2026, 4, 1)
TABLE = b"2026-04-01;5,79;Ada Rowan\n"
MAPPING = CsvMapping(";", ",", "iso", (("date", 0), ("amount", 1), ("name", 2)))


def confirm(books: Books, line: BankLine, account: Account | None = None, **more: Any) -> Payment:
    account = account or books.ada_account
    return confirm_bank_line(
        **{"by": books.treasurer, "at": AFTER_MARCH, "line": line, "account": account, **more}
    )


def set_aside(books: Books, line: BankLine, reason: str = "a grant") -> BankLine:
    return set_aside_bank_line(by=books.treasurer, at=AFTER_MARCH, line=line, reason=reason)


def bring_back(books: Books, line: BankLine, reason: str = "it was Ada's") -> BankLine:
    return bring_back_bank_line(by=books.treasurer, at=AFTER_MARCH, line=line, reason=reason)


def by_hand(books: Books, received_on: date = BOOKED, **changes: Any) -> Payment:
    usual = {"account": books.ada_account, "amount_minor": 579, "method": "bank"}
    return record_payment(
        by=books.treasurer, at=AFTER_MARCH, received_on=received_on, **{**usual, **changes}
    )


def refused(deed: Callable[[], Any]) -> BillingRefusal:
    with pytest.raises(BillingRefusal) as refusal:
        deed()
    return refusal.value


def books_balance() -> bool:
    return trial_balance_on(TODAY)[0].is_balanced


# --- Taking a file in ---------------------------------------------------------------------------


def test_a_file_is_kept_line_by_line_and_nothing_is_posted(books: Books) -> None:
    kept = taken_in(books, by_reference(), Entry(sign="DBIT", amount="80.00"))
    assert [line.amount_minor for line in kept.lines.order_by("line")] == [579, -8000]
    assert (kept.kind, kept.warnings, kept.lines_known_count) == ("camt053", [], 0)
    assert not JournalEntry.objects.exists()
    assert TrailEntry.objects.get(deed="taken_in").details == {"lines": 2, "known": 0}


def test_the_same_file_is_recognised(books: Books) -> None:
    taken_in(books, by_reference())
    refusal = refused(lambda: taken_in(books, by_reference(), name="again.xml"))
    assert (refusal.code, refusal.status) == ("bank_file_twice", 409)
    assert "on 2 April 2026 by Tess Till" in refusal.message
    assert (BankFile.objects.count(), BankLine.objects.count()) == (1, 1)


def test_lines_of_an_earlier_file_are_known(books: Books) -> None:
    taken_in(books, by_reference())
    longer = taken_in(books, by_reference(), Entry(amount="1.00"), name="longer.xml")
    assert (longer.lines.count(), longer.lines_known_count) == (1, 1)


def test_balances_that_do_not_add_up_are_kept_with_the_file(books: Books) -> None:
    kept = taken_in(books, by_reference(), closing="110.79")
    assert "does not add up" in kept.warnings[0]


@pytest.mark.parametrize(("iban", "warnings"), [(IBAN, 0), ("AT611904300234573201", 1), ("", 0)])
def test_a_statement_of_another_account_is_pointed_out(
    books: Books, iban: str, warnings: int
) -> None:
    """Both are examples of the IBAN registry (ISO 13616)."""
    BillingPolicy.objects.update(iban=iban, payee_name="Ashbank Studio")
    assert len(taken_in(books, by_reference()).warnings) == warnings


def test_a_table_is_taken_in_by_its_mapping(books: Books) -> None:
    kept = take_in_bank_file(
        by=books.treasurer, at=AFTER_MARCH, name="a.csv", content=TABLE, mapping=MAPPING
    )
    assert (kept.kind, kept.lines.get().amount_minor) == ("csv", 579)


@pytest.mark.parametrize(
    ("content", "mapping", "code", "says"),
    [
        (camt(by_reference(), Entry(currency="CHF")), None, "bank_file_wrong", "kept in EUR"),
        (b"<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>", None, "bank_file_wrong", "document type"),
        (TABLE, None, "bank_file_needs_mapping", "which column holds what"),
        (TABLE + b"2026-04-02;5.79;Ben\n", MAPPING, "bank_file_wrong", "Line 2: '5.79'"),
        (b"<" + b" " * 5 * 1024 * 1024, None, "bank_file_too_big", "at most 5 MB"),
    ],
)
def test_a_wrong_file_leaves_nothing(
    books: Books, content: bytes, mapping: CsvMapping | None, code: str, says: str
) -> None:
    refusal = refused(
        lambda: take_in_bank_file(
            by=books.treasurer, at=AFTER_MARCH, name="a", content=content, mapping=mapping
        )
    )
    assert (refusal.code, refusal.status) == (code, 422)
    assert says in refusal.message
    assert not BankFile.objects.exists()
    assert not BankLine.objects.exists()


# --- Confirming ---------------------------------------------------------------------------------


def test_a_confirmed_line_is_a_payment(books: Books) -> None:
    payment = confirm(books, a_line(books))
    line = BankLine.objects.get()
    assert (line.state, line.payment, line.times_taken) == ("taken", payment, 1)
    assert (payment.received_on, payment.method) == (BOOKED, "bank")
    assert payment.reference == line.reference != ""
    assert balance_minor_of(books.ada_account, TODAY) == -579
    assert books_balance()


@pytest.mark.parametrize(("amount", "left"), [("2.00", 379), ("5.79", 0), ("9.00", -321)])
def test_part_whole_and_over_payments_move_the_balance(
    books: Books, amount: str, left: int
) -> None:
    priced(books)
    closed_march(books)
    confirm(books, a_line(books, amount=amount))
    assert balance_minor_of(books.ada_account, TODAY) == left
    assert books_balance()


def test_a_payment_before_any_charge_is_credit(books: Books) -> None:
    confirm(books, a_line(books))
    priced(books)
    assert balance_minor_of(books.ada_account, TODAY) == 0


def test_money_out_is_money_paid_back(books: Books) -> None:
    payment = confirm(books, a_line(books, sign="DBIT"))
    assert payment.amount_minor == -579
    assert payment.entry.text.startswith("Money paid back, account 101")


def test_a_line_of_a_closed_month_counts_in_the_open_one_as_a_payment(books: Books) -> None:
    priced(books)
    closed_march(books)
    payment = confirm(books, a_line(books, on="2026-03-20"))
    assert (payment.received_on, payment.entry.on) == (date(2026, 3, 20), date(2026, 4, 1))
    assert payment.entry.source == f"payment:bank_line:{BankLine.objects.get().pk}:1"


def test_a_line_is_confirmed_once(books: Books) -> None:
    line = a_line(books)
    confirm(books, line)
    for account in (books.ada_account, books.ben_account):
        refusal = refused(lambda account=account: confirm(books, line, account))
        assert refusal.code == "bank_line_taken"
        assert "payment of account 101 Ada Rowan already" in refusal.message
    assert refused(lambda: set_aside(books, line)).code == "bank_line_taken"
    assert Payment.objects.count() == 1


def test_a_line_still_to_come_is_refused(books: Books) -> None:
    line = a_line(books, on="2026-04-09")
    assert refused(lambda: confirm(books, line)).code == "payment_in_future"
    assert not Payment.objects.exists()


@pytest.mark.parametrize("days", [-5, 0, 5])
def test_a_payment_recorded_by_hand_is_pointed_out(books: Books, days: int) -> None:
    line = a_line(books, on="2026-03-28")
    by_hand(books, date(2026, 3, 28) + timedelta(days=days), reference="cash book 9")
    (row,) = with_proposals([line])
    assert len(row.proposals[0].same) == 1
    assert row.certain is None
    refusal = refused(lambda: confirm(books, line))
    assert (refusal.code, refusal.field) == ("payment_twice", "confirm_duplicate")
    assert "(cash book 9)" in refusal.message
    confirm(books, line, confirm_duplicate=True)
    assert balance_minor_of(books.ada_account, TODAY) == -1158


@pytest.mark.parametrize(
    "other", ["six days", "another amount", "another account", "reversed already"]
)
def test_other_payments_are_not_in_the_way(books: Books, other: str) -> None:
    line = a_line(books, on="2026-03-27")
    payment = by_hand(
        books,
        date(2026, 4, 2) if other == "six days" else date(2026, 3, 27),
        amount_minor=578 if other == "another amount" else 579,
        account=books.ben_account if other == "another account" else books.ada_account,
    )
    if other == "reversed already":
        reverse_payment(by=books.treasurer, at=AFTER_MARCH, payment=payment, reason="typed twice")
    assert with_proposals([line])[0].certain is not None
    confirm(books, line)


def test_two_like_lines_of_one_file_are_two_payments(books: Books) -> None:
    for line in taken_in(books, by_reference(), by_reference()).lines.all():
        confirm(books, line)
    assert Payment.objects.count() == 2


def test_a_like_line_of_another_file_is_pointed_out(books: Books) -> None:
    confirm(books, a_line(books))
    take_in_bank_file(
        by=books.treasurer, at=AFTER_MARCH, name="a.csv", content=TABLE, mapping=MAPPING
    )
    line = BankLine.objects.get(file__kind="csv")
    assert refused(lambda: confirm(books, line)).code == "payment_twice"


def test_certain_lines_are_confirmed_together(books: Books) -> None:
    lines = taken_in(books, by_reference(101), by_reference(102), Entry(name="Nobody")).lines.all()
    rows = with_proposals(list(lines))
    choices = [(row.line, row.certain.account) for row in rows if row.certain is not None]
    assert sorted(account.number for _, account in choices) == [101, 102]
    confirm_bank_lines(by=books.treasurer, at=AFTER_MARCH, choices=choices)
    assert BankLine.objects.waiting().count() == 1
    assert books_balance()


def test_together_means_all_or_none(books: Books) -> None:
    first, second = taken_in(books, by_reference(101), by_reference(102)).lines.order_by("line")
    set_aside(books, second)
    choices = [(first, books.ada_account), (second, books.ben_account)]
    refusal = refused(
        lambda: confirm_bank_lines(by=books.treasurer, at=AFTER_MARCH, choices=choices)
    )
    assert refusal.code == "bank_line_set_aside"
    assert not Payment.objects.exists()
    assert BankLine.objects.waiting().get() == first
    empty = refused(lambda: confirm_bank_lines(by=books.treasurer, at=AFTER_MARCH, choices=[]))
    assert empty.code == "nothing_chosen"


# --- Setting aside, bringing back ---------------------------------------------------------------


def test_a_line_is_set_aside_with_a_reason_and_brought_back(books: Books) -> None:
    line = a_line(books)
    assert refused(lambda: set_aside(books, line, " ")).code == "reason_missing"
    assert refused(lambda: set_aside(books, line, "x" * 501)).code == "reason_too_long"
    assert set_aside(books, line).reason == "a grant"
    assert refused(lambda: confirm(books, line)).code == "bank_line_set_aside"
    bring_back(books, line)
    assert refused(lambda: bring_back(books, line)).code == "bank_line_waits"
    confirm(books, line)


def test_a_line_whose_payment_was_taken_back_goes_to_the_right_account(books: Books) -> None:
    line = a_line(books)
    payment = confirm(books, line, books.ben_account)
    assert refused(lambda: bring_back(books, line)).code == "bank_line_taken"
    reverse_payment(by=books.treasurer, at=AFTER_MARCH, payment=payment, reason="it was Ada's")
    bring_back(books, line)
    confirm(books, line)
    assert balance_minor_of(books.ben_account, TODAY) == 0
    assert balance_minor_of(books.ada_account, TODAY) == -579
    assert books_balance()


def test_only_the_treasurer_deals_with_the_bank(books: Books) -> None:
    line = a_line(books)
    deeds: list[Callable[[], Any]] = [
        lambda: confirm(books, line, by=books.manager),
        lambda: confirm_bank_lines(by=books.ada, at=AFTER_MARCH, choices=[]),
        lambda: set_aside_bank_line(by=books.manager, at=AFTER_MARCH, line=line, reason="no"),
        lambda: bring_back_bank_line(by=books.ada, at=AFTER_MARCH, line=line, reason="no"),
        lambda: take_in_bank_file(by=books.manager, at=AFTER_MARCH, name="a", content=camt()),
    ]
    for deed in deeds:
        with pytest.raises(Denied):
            deed()


# --- Proposals from the books -------------------------------------------------------------------


def test_the_amount_of_an_open_statement_and_a_name_propose_an_account(books: Books) -> None:
    priced(books)
    closed_march(books)
    number = statement_of(books.ben_account).number
    line = taken_in(books, Entry(name="SALLOW BEN")).lines.get()
    (proposal,) = with_proposals([line])[0].proposals
    assert (proposal.account, proposal.is_certain) == (books.ben_account, False)
    assert f"the amount of statement {number}" in proposal.why


def test_as_many_queries_for_one_line_as_for_five(books: Books) -> None:
    priced(books)
    closed_march(books)
    counts = []
    for many in (1, 5):
        entries = [by_reference(amount=f"{many}.0{n}", text="statement 1") for n in range(many)]
        lines = list(taken_in(books, *entries).lines.all())
        with CaptureQueriesContext(connection) as captured:
            rows = with_proposals(lines)
            assert all(row.certain for row in rows)
        counts.append(len(captured))
    assert counts == [5, 5]


# --- Two treasurers at once ---------------------------------------------------------------------


def test_two_treasurers_confirm_one_line_once(committed_books: Books) -> None:
    books = committed_books
    line = a_line(books)
    outcomes = at_once(
        lambda: confirm(books, line), lambda: confirm(books, line, books.ben_account)
    )
    assert "bank_line_taken" in outcomes
    assert Payment.objects.count() == 1
    assert books_balance()


def test_one_file_sent_twice_at_once_is_taken_in_once(committed_books: Books) -> None:
    books = committed_books
    outcomes = at_once(
        lambda: taken_in(books, by_reference()), lambda: taken_in(books, by_reference())
    )
    assert "bank_file_twice" in outcomes
    assert BankFile.objects.count() == 1


def test_control_without_the_look_at_the_line_the_database_has_to_refuse(
    books: Books, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What keeps the two apart above is the line as it stands under the lock. With a stale one
    the second goes through to the books, where one entry has one payment."""
    line = a_line(books)
    stale = BankLine.objects.get(pk=line.pk)
    confirm(books, line)
    monkeypatch.setattr(bank_lines, "_hold_waiting", lambda _: stale)
    with pytest.raises(IntegrityError):
        confirm(books, line, books.ben_account)
    assert Payment.objects.count() == 1


def test_control_with_another_source_it_would_be_paid_twice(
    books: Books, monkeypatch: pytest.MonkeyPatch
) -> None:
    line = a_line(books)
    stale = BankLine.objects.get(pk=line.pk)
    confirm(books, line)
    stale.times_taken = 7
    monkeypatch.setattr(bank_lines, "_hold_waiting", lambda _: stale)
    confirm(books, line, books.ben_account)
    assert Payment.objects.count() == 2


# --- What the database refuses ------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule", "sql"),
    [
        ("bank_line_is_not_changed", "UPDATE billing_bankline SET amount_minor = 1"),
        ("bank_line_is_not_changed", "UPDATE billing_bankline SET bank_id = 'x'"),
        ("bank_line_is_not_changed", "UPDATE billing_bankline SET times_taken = 0"),
        ("bank_line_is_not_deleted", "DELETE FROM billing_bankline"),
        ("bank_file_is_not_changed", "UPDATE billing_bankfile SET name = 'x'"),
        ("bank_file_is_not_deleted", "DELETE FROM billing_bankfile"),
        ("taken_bank_line_has_its_payment", "UPDATE billing_bankline SET state = 'proposed'"),
        (
            "set_aside_bank_line_has_its_reason",
            "UPDATE billing_bankline SET state = 'set_aside', payment_id = NULL",
        ),
    ],
)
def test_what_the_bank_said_stands(books: Books, rule: str, sql: str) -> None:
    confirm(books, a_line(books))
    with (
        pytest.raises(IntegrityError, match=rule),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(sql)


def test_a_payment_has_the_amount_the_bank_booked(books: Books) -> None:
    line, other = a_line(books), by_hand(books, amount_minor=1)
    with (
        pytest.raises(IntegrityError, match="payment_is_what_the_bank_booked"),
        transaction.atomic(),
    ):
        BankLine.objects.filter(pk=line.pk).update(state="taken", payment=other)


def test_one_payment_is_of_one_line(books: Books) -> None:
    first, second = taken_in(books, by_reference(), by_reference()).lines.order_by("line")
    payment = confirm(books, first)
    with pytest.raises(IntegrityError), transaction.atomic():
        BankLine.objects.filter(pk=second.pk).update(state="taken", payment=payment)
