"""What a bank says happened on the studio's account, whichever format it says it in.

`camt053` reads ISO 20022 statements, `bank_csv` tables with a mapping. A file is taken in whole
or not at all: every fault is told with its line.
"""

from __future__ import annotations

import hashlib
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date

from firings.calculations.log_lines import LogFileError

# A year of a studio's account has a few thousand lines; whoever takes a file in checks the size.
MAX_BANK_FILE_BYTES = 5 * 1024 * 1024
MAX_BANK_LINES = 10_000
REFERENCE_LENGTH_MAX = 80
NAME_LENGTH_MAX = 140
TEXT_LENGTH_MAX = 500


class BankFileError(LogFileError):
    """Why a bank's file cannot be taken in: `faults` by line, `messages` for people."""


@dataclass(frozen=True, slots=True)
class BankLine:
    """One booked movement. `amount_minor` is positive for money that came in.

    `line` is where it stands in the file, `bank_id` what tells it from all other lines of the
    account, the same whenever the bank lists it again.
    """

    line: int
    booked_on: date
    amount_minor: int
    currency: str
    reference: str
    text: str
    counterparty: str
    bank_id: str


@dataclass(frozen=True, slots=True)
class BankStatement:
    """The lines of a file, the accounts it is of (IBANs), and what a person should look at."""

    lines: tuple[BankLine, ...]
    accounts: tuple[str, ...] = ()
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FoundLine:
    """A line as it stands in a file, before it has its `bank_id`.

    `account` is the IBAN where the file names it, `bank_reference` the bank's own number.
    """

    line: int
    booked_on: date
    amount_minor: int
    currency: str
    reference: str = ""
    text: str = ""
    counterparty: str = ""
    account: str = ""
    bank_reference: str = ""


# What banks write where they have no reference to give (ISO 20022; NONREF from MT 940).
NO_REFERENCE = frozenset(("", "0", "NONREF", "NOTPROVIDED", "NOT PROVIDED", "NOTAVAILABLE"))


def with_bank_ids(found: Iterable[FoundLine]) -> tuple[BankLine, ...]:
    """Give each line the number that says whether it was seen before.

    It is made from the account, day, amount and the bank's own reference, or without one from all
    words of the line; lines that are alike in all this are counted in the order of the file.
    """
    seen: Counter[tuple[str, ...]] = Counter()
    lines = []
    for one in found:
        signs = _signs(one)
        seen[signs] += 1
        lines.append(_line(one, _digest((*signs, str(seen[signs])))))
    return tuple(lines)


def _signs(one: FoundLine) -> tuple[str, ...]:
    words: tuple[str, ...] = (one.bank_reference,)
    if is_no_reference(one.bank_reference):
        words = ("", one.reference, one.text, one.counterparty)
    return (one.account, one.booked_on.isoformat(), str(one.amount_minor), one.currency, *words)


def _digest(parts: tuple[str, ...]) -> str:
    # The sign between parts cannot stand in any of them.
    return hashlib.sha256("\x1f".join(parts).encode()).hexdigest()


def _line(one: FoundLine, bank_id: str) -> BankLine:
    return BankLine(
        one.line,
        one.booked_on,
        one.amount_minor,
        one.currency,
        one.reference[:REFERENCE_LENGTH_MAX],
        one.text[:TEXT_LENGTH_MAX],
        one.counterparty[:NAME_LENGTH_MAX],
        bank_id,
    )


def is_no_reference(text: str) -> bool:
    return text.strip().upper() in NO_REFERENCE


def in_one_line(text: str) -> str:
    """Without line breaks, doubled blanks and signs that no text may hold."""
    return " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
