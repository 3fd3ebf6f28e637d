"""The journal as plain text that general accounting tools read: beancount and hledger.

Written from the published descriptions of both formats (beancount: language syntax, balance
assertions, precision and tolerances; hledger: journal format). The same journal always gives
the same text. Balances at the end are asserted with no tolerance, so a tool that accepts the
text has checked every cent: beancount would otherwise let a balance be wrong by one.

An account's name is made of its kind, its code and its name: the root of the kind; each part
of the code before the last; the last part, a hyphen and the name, in which everything but
letters, digits and hyphens becomes a hyphen. `1200.101 Receivable of Ada Rowan` becomes
`Assets:1200:101-Receivable-of-Ada-Rowan`. Because the code stays readable in it, two accounts
never share a name, and none is the parent of another.
"""

import re
import unicodedata
from collections.abc import Iterable, Iterator
from datetime import timedelta

from billing.calculations.journal_span import JournalSpan, SpanAccount, SpanEntry, SpanLeg
from studio.calculations.money import from_minor, minor_digits

ROOTS = {
    "asset": "Assets",
    "liability": "Liabilities",
    "equity": "Equity",
    "income": "Income",
    "expense": "Expenses",
}
HLEDGER_TYPES = {"asset": "A", "liability": "L", "equity": "E", "income": "R", "expense": "X"}
CODE = re.compile(r"[0-9A-Z][0-9A-Za-z]*(\.[0-9A-Z][0-9A-Za-z]*)*", re.ASCII)
NOT_IN_A_LINK = re.compile(r"[^A-Za-z0-9\-_/.]+")
NAMELESS = "Unnamed"


def account_name(account: SpanAccount) -> str:
    """Its name in both formats, by the rule above. Raises ValueError for a code it cannot keep."""
    if not CODE.fullmatch(account.code):
        raise ValueError(
            f"code must be capital letters and digits with dots between, not {account.code!r}"
        )
    # beancount knows composed letters only
    composed = unicodedata.normalize("NFC", account.name)
    # letters of category L, digits of category Nd: what beancount takes in an account's name
    kept = "".join(char if char.isalpha() or char.isdecimal() else "-" for char in composed)
    words = "-".join(word for word in kept.split("-") if word)
    *parents, last = account.code.split(".")
    return ":".join([ROOTS[account.kind], *parents, f"{last}-{words or NAMELESS}"])


def beancount_journal(span: JournalSpan, entries: Iterable[SpanEntry]) -> Iterator[str]:
    """The text in pieces: the accounts used, balances brought forward, entries, balances after.

    Balances are asserted at the start of the day after `last`, as beancount counts.
    """
    names = {account.code: account_name(account) for account in span.accounts}
    yield f'option "title" {_quoted(span.title)}\n'
    yield f'option "operating_currency" "{span.currency}"\n\n'
    for account in span.accounts:
        yield f"{span.first} open {names[account.code]}  {span.currency}\n"
        yield f"  code: {_quoted(account.code)}\n  name: {_quoted(account.name)}\n"
    for entry in _with_opening(span, entries):
        yield _beancount_entry(entry, names, span.currency)
    yield "\n"
    day_after = span.last + timedelta(days=1)
    for account in span.accounts:
        closing = _amount(account.closing_minor, span.currency)
        yield f"{day_after} balance {names[account.code]}  {closing} ~ 0 {span.currency}\n"


def hledger_journal(span: JournalSpan, entries: Iterable[SpanEntry]) -> Iterator[str]:
    """The text in pieces, as `beancount_journal`; balances asserted in a last entry of nothing."""
    names = {account.code: account_name(account) for account in span.accounts}
    sample = "1000.".ljust(5 + minor_digits(span.currency), "0")
    yield f"; {_plain(span.title)}, {span.first} to {span.last}\n"
    yield f"decimal-mark .\ncommodity {sample} {span.currency}\n\n"
    for account in span.accounts:
        kind = HLEDGER_TYPES[account.kind]
        yield f"account {names[account.code]}  ; type: {kind}\n"
        yield f"    ; code: {account.code}\n    ; name: {_tag_value(account.name)}\n"
    for entry in _with_opening(span, entries):
        yield _hledger_entry(entry, names, span.currency)
    if span.accounts:
        yield f"\n{span.last} * Balances carried forward\n"
    nothing = _amount(0, span.currency)
    for account in span.accounts:
        closing = _amount(account.closing_minor, span.currency)
        yield (
            f"    {names[account.code]}  {nothing} {span.currency} = {closing} {span.currency}\n"
        )


def _with_opening(span: JournalSpan, entries: Iterable[SpanEntry]) -> Iterator[SpanEntry]:
    opening = span.opening_entry()
    if opening is not None:
        yield opening
    yield from entries


# --- beancount ------------------------------------------------------------------------------


def _beancount_entry(entry: SpanEntry, names: dict[str, str], currency: str) -> str:
    links = [entry.source, *filter(None, [entry.reverses_source])]
    lines = [
        f"\n{entry.on} * {_quoted(entry.text)} {' '.join(_link(source) for source in links)}",
        *(f"  {key}: {_quoted(value)}" for key, value in _about(entry)),
    ]
    for leg in entry.legs:
        amount = _amount(leg.amount_minor, currency)
        lines.append(f"  {names[leg.account_code]}  {amount} {currency}")
        if leg.text:
            lines.append(f"    text: {_quoted(leg.text)}")
    return "\n".join(lines) + "\n"


def _link(source: str) -> str:
    """A link shared by an entry and its reversal; the exact source stands in the metadata."""
    return f"^{NOT_IN_A_LINK.sub('-', source)}"


def _quoted(text: str) -> str:
    escaped = _plain(text).replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'


# --- hledger --------------------------------------------------------------------------------


def _hledger_entry(entry: SpanEntry, names: dict[str, str], currency: str) -> str:
    # ")" would end the code, ";" begin a comment, "|" divide payee from note
    code = _plain(entry.source).translate({ord("("): "[", ord(")"): "]"})
    description = _plain(entry.text).translate({ord(";"): ",", ord("|"): "/"})
    lines = [
        f"\n{entry.on} * ({code}) {description}",
        *(f"    ; {key}: {_tag_value(value)}" for key, value in _about(entry)),
        *(_hledger_leg(leg, names, currency) for leg in entry.legs),
    ]
    return "\n".join(lines) + "\n"


def _hledger_leg(leg: SpanLeg, names: dict[str, str], currency: str) -> str:
    # one space would join the amount to the account's name
    line = f"    {names[leg.account_code]}  {_amount(leg.amount_minor, currency)} {currency}"
    return f"{line}  ; text: {_tag_value(leg.text)}" if leg.text else line


def _tag_value(text: str) -> str:
    """A comma would end it, and a day in square brackets would date the posting anew."""
    return _plain(text).translate({ord(","): ";", ord("["): "(", ord("]"): ")"})


# --- both -----------------------------------------------------------------------------------


def _about(entry: SpanEntry) -> list[tuple[str, str]]:
    """What is kept of an entry beside its day, text and legs."""
    told = {
        "entry": "" if entry.number is None else str(entry.number),
        "source": entry.source,
        "reverses": "" if entry.reverses_number is None else str(entry.reverses_number),
        "reason": entry.reason,
        "by": entry.by,
    }
    return [(key, value) for key, value in told.items() if value]


def _amount(amount_minor: int, currency: str) -> str:
    """Signed, with a dot and all the digits of ISO 4217."""
    return format(from_minor(amount_minor, currency), "f")


def _plain(text: str) -> str:
    """One line: line breaks and what cannot be printed become single spaces."""
    return " ".join("".join(char if char.isprintable() else " " for char in text).split())
