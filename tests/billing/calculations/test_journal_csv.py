"""The journal for a spreadsheet.

RFC 4180 is read back by Python's csv module in strict mode; what a spreadsheet must not
calculate is OWASP ASVS 5.0.0, 1.2.10.
"""

from __future__ import annotations

import csv
from collections import Counter
from datetime import date
from decimal import Decimal
from io import StringIO

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from billing.calculations.journal_csv import harmless, journal_csv
from billing.calculations.journal_span import JournalSpan, SpanAccount, SpanEntry, SpanLeg

DAY = date(2026, 3, 31)
SPAN = JournalSpan(
    "Ashbank",
    "EUR",
    DAY,
    DAY,
    (
        SpanAccount("1200.101", "Receivable of Rowan, Ada", "asset", 0, 0),
        SpanAccount("4000", "Electricity", "income", 0, 0),
    ),
)


def entry(amount: int = 1234, **changes: object) -> SpanEntry:
    usual = {"number": 7, "on": DAY, "text": "Firing 12", "source": "firing:12:0"}
    legs = (SpanLeg("1200.101", amount, "mugs"), SpanLeg("4000", -amount))
    return SpanEntry(**{**usual, "legs": legs, **changes})


def rows_of(text: str) -> list[dict[str, str]]:
    return list(csv.DictReader(StringIO(text.removeprefix("\ufeff"), newline=""), strict=True))


def test_a_row_for_each_posting() -> None:
    mirror = entry(
        -1234, number=9, reverses_number=7, reason='the "meter"\nwas misread', by="Tess Till"
    )
    text = "".join(journal_csv(SPAN, [entry(), mirror]))
    assert text == (
        "\ufeffEntry,Date,Text,Line,Account,Account name,Debit,Credit,Currency,Source,Reverses,"
        "Reason,By\r\n"
        '7,2026-03-31,Firing 12,mugs,1200.101,"Receivable of Rowan, Ada",12.34,,EUR,firing:12:0'
        ",,,\r\n"
        "7,2026-03-31,Firing 12,,4000,Electricity,,12.34,EUR,firing:12:0,,,\r\n"
        '9,2026-03-31,Firing 12,mugs,1200.101,"Receivable of Rowan, Ada",,12.34,EUR,firing:12:0'
        ',7,"the ""meter""\nwas misread",Tess Till\r\n'
        "9,2026-03-31,Firing 12,,4000,Electricity,12.34,,EUR,firing:12:0"
        ',7,"the ""meter""\nwas misread",Tess Till\r\n'
    )


@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t", "\r", "\n", "\0", "＝", "＠"])
def test_what_a_spreadsheet_would_calculate_is_text(start: str) -> None:
    formula = f"{start}1+1"
    assert harmless(formula) == f"'{formula}"
    assert harmless(f"a{formula}") == f"a{formula}"
    assert harmless("") == ""


def test_nothing_that_a_person_typed_begins_like_a_formula() -> None:
    hostile = '=HYPERLINK("http://x","y")'
    account = SpanAccount("1200.101", hostile, "asset", 0, 0)
    span = JournalSpan("Ashbank", "EUR", DAY, DAY, (account, SPAN.accounts[1]))
    legs = (SpanLeg("1200.101", 5, hostile), SpanLeg("4000", -5))
    bent = entry(text=hostile, source=hostile, reason=hostile, by=hostile, legs=legs)
    row = rows_of("".join(journal_csv(span, [bent])))[0]
    assert Counter(row.values())[f"'{hostile}"] == 6
    assert not [cell for cell in row.values() if cell.startswith("=")]


@settings(deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(
    amounts=st.lists(st.integers(-(10**12), 10**12).filter(bool), max_size=9),
    text=st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=30),
)
def test_sums_and_words_are_read_back(amounts: list[int], text: str) -> None:
    written = "".join(journal_csv(SPAN, [entry(amount, text=text) for amount in amounts]))
    rows = rows_of(written)
    assert len(rows) == 2 * len(amounts)
    sums: Counter[str] = Counter()
    for row in rows:
        sums[row["Account"]] += Decimal(row["Debit"] or 0) - Decimal(row["Credit"] or 0)
        assert row["Text"] in (text, f"'{text}")
    assert sums["1200.101"] == Decimal(sum(amounts)) / 100
    assert sums["4000"] == -sums["1200.101"]
