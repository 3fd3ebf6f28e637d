"""The journal for a spreadsheet: one row for each posting (RFC 4180, UTF-8 with its mark).

The byte order mark is there because spreadsheets else read UTF-8 as their own code page.
A text that a spreadsheet would take for a formula is given an apostrophe in front (OWASP ASVS
5.0.0, 1.2.10). Amounts are never negative, so that they need none: a debit or a credit.
"""

import csv
from collections.abc import Iterable, Iterator
from io import StringIO

from billing.calculations.journal_span import JournalSpan, SpanEntry, SpanLeg
from studio.calculations.money import from_minor

BYTE_ORDER_MARK = "\ufeff"
# The last four are the wide forms that East Asian spreadsheets read like the first.
FORMULA_STARTS = frozenset("=+-@\t\r\n\0＝＋－＠")
HEADINGS = (
    "Entry",
    "Date",
    "Text",
    "Line",
    "Account",
    "Account name",
    "Debit",
    "Credit",
    "Currency",
    "Source",
    "Reverses",
    "Reason",
    "By",
)


def journal_csv(span: JournalSpan, entries: Iterable[SpanEntry]) -> Iterator[str]:
    """The text in pieces: a line of headings, then the postings of one entry after another."""
    names = {account.code: account.name for account in span.accounts}
    yield BYTE_ORDER_MARK + _lines([HEADINGS])
    for entry in entries:
        yield _lines(_row(entry, leg, names[leg.account_code], span.currency) for leg in entry.legs)


def harmless(text: str) -> str:
    """The text, with an apostrophe in front when a spreadsheet would calculate it."""
    return f"'{text}" if text[:1] in FORMULA_STARTS else text


def _row(entry: SpanEntry, leg: SpanLeg, name: str, currency: str) -> tuple[str, ...]:
    amount = format(from_minor(abs(leg.amount_minor), currency), "f")
    return (
        "" if entry.number is None else str(entry.number),
        entry.on.isoformat(),
        harmless(entry.text),
        harmless(leg.text),
        harmless(leg.account_code),
        harmless(name),
        amount if leg.amount_minor > 0 else "",
        amount if leg.amount_minor < 0 else "",
        currency,
        harmless(entry.source),
        "" if entry.reverses_number is None else str(entry.reverses_number),
        harmless(entry.reason),
        harmless(entry.by),
    )


def _lines(rows: Iterable[tuple[str, ...]]) -> str:
    text = StringIO(newline="")
    csv.writer(text).writerows(rows)
    return text.getvalue()
