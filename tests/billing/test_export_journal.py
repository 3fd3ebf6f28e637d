"""The journal of a studio that fires, is paid, reverses and closes a month, given to others.

beancount itself (bean-check) counts it again; its balances are those of the books.
"""

from __future__ import annotations

import csv
import gc
import weakref
from collections import Counter
from datetime import date, timedelta
from decimal import Decimal
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command
from django.db.models.signals import post_init

from billing.actions import export_journal as export
from billing.actions.balances import ledger_balances_on
from billing.actions.chart import BANK, CASH, open_account
from billing.actions.close_month import close_month
from billing.actions.export_journal import FORMATS, export_journal
from billing.actions.ledger import Leg, post_entry
from billing.actions.payments import give_credit, record_payment, reverse_payment
from billing.actions.price_firing import reprice_firing, reverse_firing_cost
from billing.calculations.journal_span import SpanAccount
from billing.calculations.plain_text_journal import account_name
from billing.models import JournalEntry
from billing.refusals import BillingRefusal
from studio.calculations.money import from_minor
from studio.refusals import Denied
from tests.billing.bean_check import complaints
from tests.billing.conftest import Books
from tests.billing.faces_scene import closed_march, priced
from tests.billing.scene import AFTER_APRIL, AFTER_MARCH, APRIL, MARCH, NOON

LAST_OF_MARCH = date(2026, 3, 31)
LAST_OF_APRIL = date(2026, 4, 30)


def eventful(books: Books) -> None:
    """March: two firings, a payment. After its close: a repricing, a bounced payment, a credit."""
    cost = priced(books)
    priced(books, energy_wh=51_000)
    paid = pay(books, 1000)
    closed_march(books)
    by = {"by": books.treasurer, "at": AFTER_MARCH + timedelta(hours=1)}
    reverse_firing_cost(cost=cost, reason='the register said "42.3"', **by)
    reprice_firing(firing=cost.firing, **by)
    reverse_payment(payment=paid, reason="came back; wrong number", **by)
    give_credit(account=books.ben_account, amount_minor=79, reason="=a chip, [2026-13-01]", **by)
    close_month(by=books.treasurer, at=AFTER_APRIL, month=APRIL)


def pay(books: Books, amount_minor: int) -> Any:
    return record_payment(
        by=books.treasurer,
        at=NOON + timedelta(days=5),
        account=books.ada_account,
        received_on=date(2026, 3, 15),
        amount_minor=amount_minor,
        method="bank",
        reference='4711 "spring"',
    )


def written(file_format: str = "beancount", **asked: Any) -> str:
    given = {"by": None, "at": AFTER_APRIL, **asked}
    return "".join(export_journal(file_format=file_format, **given).pieces)


def asserted(day: date, after: date) -> list[str]:
    """The balances of the books at the end of `day`, as beancount asserts them."""
    return [
        f"{after} balance {account_name(SpanAccount(row.code, row.name, row.kind, 0, 0))}"
        f"  {from_minor(minor, 'EUR')} ~ 0 EUR"
        for row, minor in ledger_balances_on(day)
    ]


# --- beancount ------------------------------------------------------------------------------


def test_beancount_accepts_the_books_and_finds_their_balances(books: Books, tmp_path: Path) -> None:
    eventful(books)
    text = written()
    assert complaints(text, tmp_path) == ""
    assert text.count(" * ") == JournalEntry.objects.count() == 7
    assert text.splitlines()[-len(asserted(AFTER_APRIL.date(), date(2026, 5, 3))) :] == asserted(
        AFTER_APRIL.date(), date(2026, 5, 3)
    )
    assert text == written()


def test_beancount_refuses_the_books_when_one_cent_is_changed(books: Books, tmp_path: Path) -> None:
    eventful(books)
    lines = written().splitlines()
    amounts = [n for n, line in enumerate(lines) if line.endswith(" EUR") and " open " not in line]
    assert len(amounts) > 20
    for n in amounts[:: len(amounts) // 6]:
        cents = next(word for word in lines[n].split() if "." in word and word[-1].isdigit())
        bent = f"{Decimal(cents) + Decimal('0.01')}"
        changed = [*lines[:n], lines[n].replace(f" {cents} ", f" {bent} "), *lines[n + 1 :]]
        assert changed != lines
        assert complaints("\n".join(changed) + "\n", tmp_path)


def test_month_alone_begins_with_what_was_brought_forward(books: Books, tmp_path: Path) -> None:
    eventful(books)
    text = written(first=APRIL, last=LAST_OF_APRIL)
    assert complaints(text, tmp_path) == ""
    assert '2026-04-01 * "Balances brought forward"' in text
    assert "2026-03-" not in text
    balances = asserted(LAST_OF_APRIL, date(2026, 5, 1))
    assert text.splitlines()[-len(balances) :] == balances


def test_reversal_names_what_it_reverses(books: Books) -> None:
    eventful(books)
    mirror = JournalEntry.objects.get(reverses__source__startswith="payment")
    original = mirror.reverses
    text = written()
    link = original.source.replace(":", "-")
    assert f"^{mirror.source.replace(':', '-')} ^{link}\n" in text
    assert f'  reverses: "{original.pk}"\n  reason: "came back; wrong number"\n' in text


def test_books_without_entries(books: Books, tmp_path: Path) -> None:
    assert written() == ('option "title" "Ashbank Studio"\noption "operating_currency" "EUR"\n\n\n')
    assert complaints(written(), tmp_path) == ""
    assert written("hledger").endswith("\ncommodity 1000.00 EUR\n\n")
    assert written("csv").count("\r\n") == 1


# --- CSV ------------------------------------------------------------------------------------


def test_csv_sums_to_the_balances_of_the_books(books: Books) -> None:
    eventful(books)
    text = written("csv").removeprefix("\ufeff")
    rows = list(csv.DictReader(StringIO(text, newline=""), strict=True))
    sums: Counter[str] = Counter()
    for row in rows:
        sums[row["Account"]] += Decimal(row["Debit"] or 0) - Decimal(row["Credit"] or 0)
    balances = ledger_balances_on(AFTER_APRIL.date())
    books_say = {row.code: from_minor(minor, "EUR") for row, minor in balances}
    assert {code: sums[code] for code in books_say} == books_say
    mirrors = {row["Reverses"] for row in rows} - {""}
    assert mirrors == {str(e.reverses_id) for e in JournalEntry.objects.exclude(reverses=None)}
    assert {row["By"] for row in rows} == {"Tess Till", "Mara Dunn"}


# --- Any length -----------------------------------------------------------------------------


def post_many(books: Books, count: int) -> None:
    bank, cash = open_account(BANK), open_account(CASH)
    for number in range(count):
        post_entry(
            by=books.treasurer,
            at=NOON,
            on=NOON.date(),
            text="To the bank",
            source=f"deposit:{number}",
            legs=[Leg(bank, 100), Leg(cash, -100)],
        )


def test_entries_come_in_lots_with_two_questions_each(
    books: Books, django_assert_num_queries: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    post_many(books, 45)
    monkeypatch.setattr(export, "ENTRIES_AT_ONCE", 20)
    # the ends, the studio, the balances; the entries; the postings of three lots
    with django_assert_num_queries(3 + 1 + 3):
        written()


def test_only_one_lot_is_in_memory(books: Books, monkeypatch: pytest.MonkeyPatch) -> None:
    post_many(books, 100)
    monkeypatch.setattr(export, "ENTRIES_AT_ONCE", 20)
    gc.collect()
    alive: weakref.WeakSet[JournalEntry] = weakref.WeakSet()

    def remember(instance: JournalEntry, **kwargs: Any) -> None:
        alive.add(instance)

    post_init.connect(remember, sender=JournalEntry)
    most = 0
    try:
        for piece in export_journal(by=None, at=AFTER_APRIL, file_format="csv").pieces:
            assert piece
            gc.collect()
            most = max(most, len(alive))
    finally:
        post_init.disconnect(remember, sender=JournalEntry)
    assert 20 <= most <= 2 * 20


def test_what_is_posted_meanwhile_is_left_out(books: Books, tmp_path: Path) -> None:
    priced(books)
    pieces = export_journal(by=None, at=AFTER_MARCH, file_format="beancount").pieces
    begun = next(pieces)
    pay(books, 700)
    text = begun + "".join(pieces)
    assert "payment" not in text
    assert complaints(text, tmp_path) == ""
    assert "payment" in written()


# --- Refusals -------------------------------------------------------------------------------


def test_only_the_treasurer_takes_the_books_out(books: Books) -> None:
    for person in (books.manager, books.ada):
        with pytest.raises(Denied):
            written(by=person)
    assert written(by=books.treasurer) == written()


@pytest.mark.parametrize(
    ("asked", "field"),
    [
        ({"file_format": "abacus"}, "file_format"),
        ({"first": LAST_OF_MARCH, "last": MARCH}, "last"),
        ({"first": date(1066, 10, 14)}, "first"),
        ({"last": date(9999, 12, 31)}, "last"),
    ],
)
def test_impossible_exports_are_refused(books: Books, asked: dict[str, Any], field: str) -> None:
    with pytest.raises(BillingRefusal) as refused:
        written(**asked)
    assert (refused.value.field, refused.value.status) == (field, 422)


# --- The command ----------------------------------------------------------------------------


def run(path: Path, *words: str) -> None:
    call_command("export_journal", *words, "--to", "2026-04-30", "--out", str(path))


@pytest.mark.parametrize("file_format", FORMATS)
def test_command_writes_a_private_file(books: Books, tmp_path: Path, file_format: str) -> None:
    eventful(books)
    path = tmp_path / "journal"
    run(path, "--format", file_format, "--from", "2026-04-01")
    expected = written(file_format, first=APRIL, last=LAST_OF_APRIL)
    assert path.read_bytes() == expected.encode()
    assert path.stat().st_mode & 0o077 == 0
    with pytest.raises(CommandError, match="is there already"):
        run(path, "--format", file_format)
    assert list(tmp_path.iterdir()) == [path]


def test_command_leaves_nothing_when_refused(books: Books, tmp_path: Path) -> None:
    path = tmp_path / "journal.csv"
    for words, message in (
        (["--from", "2026-05-01"], "lies before the first one"),
        (["--from", "May"], "is not a day"),
    ):
        with pytest.raises(CommandError, match=message):
            run(path, "--format", "csv", *words)
    with pytest.raises(CommandError, match="There is no folder"):
        run(tmp_path / "nowhere" / "journal.csv", "--format", "csv")
    assert list(tmp_path.iterdir()) == []
