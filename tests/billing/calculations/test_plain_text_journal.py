"""The journal as plain text.

Formats: beancount's published language syntax and balance assertions (asserted at the start of
the day), hledger's journal format (two spaces before an amount). What beancount accepts is
decided by beancount itself, through bean-check.
"""

from __future__ import annotations

import string
from collections import Counter
from datetime import date, timedelta
from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from billing.calculations.journal_span import JournalSpan, SpanAccount, SpanEntry, SpanLeg
from billing.calculations.plain_text_journal import (
    account_name,
    beancount_journal,
    hledger_journal,
)
from billing.calculations.trial_balance import TrialPosting, trial_balance
from studio.calculations.money import from_minor
from tests.billing.bean_check import complaints, legs_of

LAST_OF_MARCH = date(2026, 3, 31)


def account(code: str, name: str, kind: str, closing: int = 0, opening: int = 0) -> SpanAccount:
    return SpanAccount(code, name, kind, opening_minor=opening, closing_minor=closing)


# One entry of our own: what a member owes, and what it is for. 12.34 - 9.00 - 3.34 = 0.00, and
# by beancount's rule the balance of the 31st is asserted on 1 April.
CHART = (
    account("1200.101", "Receivable of Ada Rowan", "asset", 1234),
    account("4000", "Firing electricity recovered", "income", -900),
    account("4200", "Wear", "income", -334),
)
FIRING = SpanEntry(
    number=7,
    on=LAST_OF_MARCH,
    text="Glaze firing 12",
    source="firing:12:0",
    legs=(SpanLeg("1200.101", 1234, "slip K7Q2"), SpanLeg("4000", -900), SpanLeg("4200", -334)),
    by="Tess Till",
)
MARCH = JournalSpan("Ashbank Studio", "EUR", LAST_OF_MARCH, LAST_OF_MARCH, CHART)
IN_BEANCOUNT = """\
option "title" "Ashbank Studio"
option "operating_currency" "EUR"

2026-03-31 open Assets:1200:101-Receivable-of-Ada-Rowan  EUR
  code: "1200.101"
  name: "Receivable of Ada Rowan"
2026-03-31 open Income:4000-Firing-electricity-recovered  EUR
  code: "4000"
  name: "Firing electricity recovered"
2026-03-31 open Income:4200-Wear  EUR
  code: "4200"
  name: "Wear"

2026-03-31 * "Glaze firing 12" ^firing-12-0
  entry: "7"
  source: "firing:12:0"
  by: "Tess Till"
  Assets:1200:101-Receivable-of-Ada-Rowan  12.34 EUR
    text: "slip K7Q2"
  Income:4000-Firing-electricity-recovered  -9.00 EUR
  Income:4200-Wear  -3.34 EUR

2026-04-01 balance Assets:1200:101-Receivable-of-Ada-Rowan  12.34 ~ 0 EUR
2026-04-01 balance Income:4000-Firing-electricity-recovered  -9.00 ~ 0 EUR
2026-04-01 balance Income:4200-Wear  -3.34 ~ 0 EUR
"""
IN_HLEDGER = """\
; Ashbank Studio, 2026-03-31 to 2026-03-31
decimal-mark .
commodity 1000.00 EUR

account Assets:1200:101-Receivable-of-Ada-Rowan  ; type: A
    ; code: 1200.101
    ; name: Receivable of Ada Rowan
account Income:4000-Firing-electricity-recovered  ; type: R
    ; code: 4000
    ; name: Firing electricity recovered
account Income:4200-Wear  ; type: R
    ; code: 4200
    ; name: Wear

2026-03-31 * (firing:12:0) Glaze firing 12
    ; entry: 7
    ; source: firing:12:0
    ; by: Tess Till
    Assets:1200:101-Receivable-of-Ada-Rowan  12.34 EUR  ; text: slip K7Q2
    Income:4000-Firing-electricity-recovered  -9.00 EUR
    Income:4200-Wear  -3.34 EUR

2026-03-31 * Balances carried forward
    Assets:1200:101-Receivable-of-Ada-Rowan  0.00 EUR = 12.34 EUR
    Income:4000-Firing-electricity-recovered  0.00 EUR = -9.00 EUR
    Income:4200-Wear  0.00 EUR = -3.34 EUR
"""


def test_example_in_beancount(tmp_path: Path) -> None:
    assert "".join(beancount_journal(MARCH, [FIRING])) == IN_BEANCOUNT
    assert complaints(IN_BEANCOUNT, tmp_path) == ""


@pytest.mark.parametrize(
    ("right", "wrong"),
    [
        (" 12.34 EUR", " 12.35 EUR"),  # no longer sums to zero
        ("12.34 ~ 0 EUR", "12.35 ~ 0 EUR"),  # a cent beside the balance
        ("open Income:4200-Wear", "open Income:4200-Tear"),  # an account nobody opened
        ("2026-04-01 balance", "2026-03-31 balance"),  # before the entries of that day
    ],
)
def test_beancount_refuses_the_example_once_bent(tmp_path: Path, right: str, wrong: str) -> None:
    assert right in IN_BEANCOUNT
    assert complaints(IN_BEANCOUNT.replace(right, wrong, 1), tmp_path)


def test_cent_moved_between_accounts_is_found_by_the_balances(tmp_path: Path) -> None:
    bent = IN_BEANCOUNT.replace("  -9.00 EUR", "  -9.01 EUR").replace("  -3.34 EUR", "  -3.33 EUR")
    assert "Balance failed" in complaints(bent, tmp_path)


def test_example_in_hledger() -> None:
    assert "".join(hledger_journal(MARCH, [FIRING])) == IN_HLEDGER


def test_balances_are_brought_forward(tmp_path: Path) -> None:
    chart = (
        account("1000", "Bank", "asset", opening=500, closing=1734),
        account("4000", "Electricity", "income", opening=-500, closing=-1734),
        account("5200", "Credits given", "expense"),
    )
    entry = SpanEntry(
        8, LAST_OF_MARCH, "Paid", "payment:1", (SpanLeg("1000", 1234), SpanLeg("4000", -1234))
    )
    span = JournalSpan("Ashbank", "EUR", date(2026, 3, 1), LAST_OF_MARCH, chart)
    text = "".join(beancount_journal(span, [entry]))
    assert '2026-03-01 * "Balances brought forward" ^opening-2026-03-01\n' in text
    assert "2026-04-01 balance Expenses:5200-Credits-given  0.00 ~ 0 EUR\n" in text
    assert complaints(text, tmp_path) == ""


def test_reversal_shares_a_link_with_what_it_reverses(tmp_path: Path) -> None:
    mirror = SpanEntry(
        number=9,
        on=LAST_OF_MARCH,
        text="Reversal of Glaze firing 12",
        source="reversal:7",
        legs=tuple(SpanLeg(leg.account_code, -leg.amount_minor) for leg in FIRING.legs),
        reverses_number=7,
        reverses_source="firing:12:0",
        reason='the "cone 6" was\na cone 5',
    )
    chart = tuple(account(each.code, each.name, each.kind) for each in CHART)
    span = JournalSpan("Ashbank Studio", "EUR", LAST_OF_MARCH, LAST_OF_MARCH, chart)
    text = "".join(beancount_journal(span, [FIRING, mirror]))
    assert '"Reversal of Glaze firing 12" ^reversal-7 ^firing-12-0\n' in text
    assert '  reverses: "7"\n  reason: "the \\"cone 6\\" was a cone 5"\n' in text
    assert complaints(text, tmp_path) == ""


# Digits of the minor unit: ISO 4217 list A.1, as republished in June 2024.
@pytest.mark.parametrize(
    ("currency", "written", "sample"),
    [
        ("EUR", "12.34", "1000.00 EUR"),
        ("JPY", "1234", "1000. JPY"),
        ("KWD", "1.234", "1000.000 KWD"),
    ],
)
def test_amounts_have_the_digits_of_their_currency(
    tmp_path: Path, currency: str, written: str, sample: str
) -> None:
    span = JournalSpan("Ashbank", currency, LAST_OF_MARCH, LAST_OF_MARCH, CHART)
    text = "".join(beancount_journal(span, [FIRING]))
    assert f"Ada-Rowan  {written} {currency}\n" in text
    assert complaints(text, tmp_path) == ""
    assert complaints(text.replace(f" {written} ", f" {written[:-1]}5 ", 1), tmp_path)
    assert f"\ncommodity {sample}\n" in "".join(hledger_journal(span, [FIRING]))


@pytest.mark.parametrize(
    ("code", "name", "kind", "expected"),
    [
        ("1000", "Bank", "asset", "Assets:1000-Bank"),
        ("1200.101", "Receivable of Ada", "asset", "Assets:1200:101-Receivable-of-Ada"),
        ("2200.3", "Wear reserve: Kiln №2", "liability", "Liabilities:2200:3-Wear-reserve-Kiln-2"),
        ("3000", " -- ", "equity", "Equity:3000-Unnamed"),
        ("4000", "Öfen & Ton", "income", "Income:4000-Öfen-Ton"),
        ("5000", "e\u0301mail", "expense", "Expenses:5000-émail"),
        ("5100", "窯", "expense", "Expenses:5100-窯"),
    ],
)
def test_account_names(code: str, name: str, kind: str, expected: str) -> None:
    assert account_name(account(code, name, kind)) == expected


@pytest.mark.parametrize("code", ["", "1200.", "a1", "12 00", "1200:101", "1200-101"])
def test_code_that_a_name_cannot_keep_is_refused(code: str) -> None:
    with pytest.raises(ValueError, match="code must be"):
        account_name(account(code, "Bank", "asset"))


def test_broken_input_is_refused() -> None:
    day = LAST_OF_MARCH
    with pytest.raises(ValueError, match="sum to zero"):
        SpanEntry(1, day, "Off by one", "x:1", (SpanLeg("1000", 5), SpanLeg("4000", -4)))
    with pytest.raises(ValueError, match="kind must be one of"):
        account("1000", "Bank", "cash")
    with pytest.raises(ValueError, match="last must not lie before"):
        JournalSpan("A", "EUR", day, day - timedelta(days=1), ())
    with pytest.raises(ValueError, match="code of their own"):
        JournalSpan("A", "EUR", day, day, (CHART[0], CHART[0]))
    with pytest.raises(ValueError, match="opening_minor"):
        JournalSpan("A", "EUR", day, day, (account("1000", "Bank", "asset", opening=1),))
    with pytest.raises(ValueError, match="XAU"):
        JournalSpan("A", "XAU", day, day, ())


# --- Whatever was posted --------------------------------------------------------------------

CODES = ("1000", "1200.101", "1200.102", "2200.1", "4000", "5200")
KINDS = ("asset", "asset", "asset", "liability", "income", "expense")
FIRST_OF_MARCH = date(2026, 3, 1)
LENIENT = settings(
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
words = st.text(max_size=40) | st.text(string.punctuation + "date: \n", max_size=20)


@st.composite
def journals(draw: st.DrawFn) -> tuple[JournalSpan, list[SpanEntry]]:
    """Any entries with any words, and the balances they lead to."""
    amounts = st.integers(-(10**9), 10**9).filter(bool)
    balances = dict.fromkeys(CODES, 0)
    entries = []
    for number in range(1, draw(st.integers(1, 8)) + 1):
        moves = draw(st.lists(st.tuples(st.sampled_from(CODES), amounts), min_size=1, max_size=5))
        rest = -sum(amount for _, amount in moves)
        moves += [("1000", rest)] * bool(rest)
        for code, amount in moves:
            balances[code] += amount
        entries.append(
            SpanEntry(
                number=number,
                on=FIRST_OF_MARCH + timedelta(days=draw(st.integers(0, 30))),
                text=draw(words),
                source=f"{draw(words)}:{number}",
                legs=tuple(SpanLeg(code, amount, draw(words)) for code, amount in moves),
                reason=draw(words),
                by=draw(words),
            )
        )
    chart = tuple(
        SpanAccount(code, draw(words), kind, 0, balances[code])
        for code, kind in zip(CODES, KINDS, strict=True)
    )
    span = JournalSpan(draw(words), "EUR", FIRST_OF_MARCH, LAST_OF_MARCH, chart)
    return span, sorted(entries, key=lambda entry: (entry.on, entry.number))


@LENIENT
@given(journal=journals())
def test_each_entry_sums_to_zero_and_all_of_them_to_the_trial_balance(
    journal: tuple[JournalSpan, list[SpanEntry]],
) -> None:
    span, entries = journal
    blocks = "".join(beancount_journal(span, entries)).split("\n\n")[2:-1]
    assert len(blocks) == len(entries)
    sums: Counter[str] = Counter()
    for block in blocks:
        legs = legs_of(block)
        assert sum(amount for _, amount in legs) == 0
        for name, amount in legs:
            sums[name] += amount
    books = trial_balance(
        [TrialPosting(leg.account_code, leg.amount_minor) for each in entries for leg in each.legs]
    )
    names = {each.code: account_name(each) for each in span.accounts}
    for row in books.rows:
        balance = from_minor(row.debit_minor - row.credit_minor, "EUR")
        assert sums[names[row.account_code]] == balance
    assert sum(sums.values(), Decimal(0)) == 0


@settings(LENIENT, max_examples=25)
@given(journal=journals())
@example(journal=(MARCH, [FIRING]))
def test_beancount_accepts_whatever_words_were_typed(
    tmp_path: Path, journal: tuple[JournalSpan, list[SpanEntry]]
) -> None:
    assert complaints("".join(beancount_journal(*journal)), tmp_path) == ""


@LENIENT
@given(journal=journals())
def test_hledger_text_keeps_its_rules(journal: tuple[JournalSpan, list[SpanEntry]]) -> None:
    """Amounts stand two spaces after the account, and each entry sums to zero."""
    blocks = "".join(hledger_journal(*journal)).split("\n\n")[2:-1]
    assert len(blocks) == len(journal[1])
    for block in blocks:
        lines = [line for line in block.splitlines()[1:] if not line.startswith("    ; ")]
        amounts = []
        for line in lines:
            account_of_line, amount = line.strip().split("  ")[:2]
            assert " " not in account_of_line
            amounts.append(Decimal(amount.removesuffix(" EUR")))
        assert len(amounts) >= 2
        assert sum(amounts) == 0


def test_same_journal_gives_the_same_text() -> None:
    for write in (beancount_journal, hledger_journal):
        assert list(write(MARCH, [FIRING])) == list(write(MARCH, [FIRING]))
