"""Read a bank's table (CSV) by a mapping of its columns."""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from io import StringIO

from billing.calculations.bank_files import (
    MAX_BANK_LINES,
    BankFileError,
    BankStatement,
    FoundLine,
    in_one_line,
    is_no_reference,
    with_bank_ids,
)
from studio.calculations.money import minor_digits, to_minor

DELIMITERS = (";", ",", "\t", "|")
DECIMAL_MARKS = (".", ",")
DATE_ORDERS = ("iso", "day_first", "month_first")
ROLES = (
    "date",
    "amount",
    "debit",
    "credit",
    "name",
    "text",
    "reference",
    "currency",
    "bank_reference",
)
# Several columns may hold words: they are joined in the order of the file.
SEVERAL = frozenset(("text",))
_EXAMPLES = {"iso": "2026-03-31", "day_first": "31.03.2026", "month_first": "03/31/2026"}
_DAY = re.compile(
    r"(?P<a>\d{1,4})(?P<mark>[-./])(?P<b>\d{1,2})(?P=mark)(?P<c>\d{1,4})(?:[ T].*)?"
    r"|(?P<compact>\d{8})"
)
_FIRST_YEAR, _LAST_YEAR = 2000, 2100


@dataclass(frozen=True, slots=True)
class CsvMapping:
    """How a table is to be read. `columns`: a role and the index of its column, from 0.

    Lines before `first_line` (title lines, a summary on top) are passed over.
    """

    delimiter: str
    decimal_mark: str
    date_order: str
    columns: tuple[tuple[str, int], ...]
    first_line: int = 1

    def __post_init__(self) -> None:
        for name, value, known in (
            ("delimiter", self.delimiter, DELIMITERS),
            ("decimal_mark", self.decimal_mark, DECIMAL_MARKS),
            ("date_order", self.date_order, DATE_ORDERS),
            *(("role", role, ROLES) for role, _ in self.columns),
        ):
            if value not in known:
                raise ValueError(f"{name} must be one of {', '.join(known)}, not {value!r}")
        roles = [role for role, _ in self.columns if role not in SEVERAL]
        indexes = [index for _, index in self.columns]
        if len(set(roles)) < len(roles) or len(set(indexes)) < len(indexes):
            raise ValueError(f"columns must each have one role of their own, not {self.columns!r}")
        if min(indexes, default=0) < 0 or self.first_line < 1:
            raise ValueError("columns are counted from 0 and lines from 1")

    @property
    def missing(self) -> str:
        """What must still be said before a table can be read; nothing when it can."""
        roles = {role for role, _ in self.columns}
        if "date" not in roles:
            return "Say which column holds the day of booking."
        if "amount" in roles and roles & {"debit", "credit"}:
            return "Choose one column for the amount, or one for money in and one for money out."
        if not roles & {"amount", "credit"}:
            return "Say which column holds the amount, or the money that came in."
        return ""


def read_bank_csv(content: bytes, mapping: CsvMapping, currency: str) -> BankStatement:
    """The lines of a table in the studio's `currency`.

    Raises BankFileError with every fault and its line; nothing is taken in by half.
    """
    if mapping.missing:
        raise BankFileError([(0, mapping.missing)])
    faults: list[tuple[int, str]] = []
    warnings: list[str] = []
    found: list[FoundLine] = []
    for number, cells in rows_of(content, mapping.delimiter):
        if number < mapping.first_line:
            continue
        if len(found) == MAX_BANK_LINES:
            message = f"The file has more than {MAX_BANK_LINES:,} lines. Send it in parts."
            raise BankFileError([(number, message)])
        try:
            line = _Row(number, cells, mapping, currency).line()
        except ValueError as fault:
            faults.append((number, str(fault)))
            continue
        if line.amount_minor:
            found.append(line)
        else:
            warnings.append(f"Line {number} moves no money and is left out.")
    if faults:
        raise BankFileError(faults)
    if not found:
        raise BankFileError([(0, "The file has no line with a payment.")])
    return BankStatement(with_bank_ids(found), (), tuple(warnings))


def rows_of(content: bytes, delimiter: str) -> Iterator[tuple[int, list[str]]]:
    """The rows that say something, with the number of their first line."""
    reader = csv.reader(StringIO(decoded(content), newline=""), delimiter=delimiter)
    number = 1
    try:
        for row in reader:
            cells = [in_one_line(cell) for cell in row]
            if any(cells):
                yield number, cells
            number = reader.line_num + 1
    except csv.Error as fault:
        raise BankFileError([(number, f"The line cannot be cut into cells: {fault}.")]) from fault


def decoded(content: bytes) -> str:
    """UTF-8 with or without its mark, UTF-16 with it, or else what Western banks use (cp1252)."""
    if content.startswith(b"PK\x03\x04"):
        raise BankFileError([(0, "This is a spreadsheet or an archive. Save it as CSV.")])
    encodings: tuple[str, ...] = ("utf-8-sig", "cp1252", "latin-1")
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        encodings = ("utf-16", *encodings)
    for encoding in encodings:
        try:
            text = content.decode(encoding)
        except UnicodeDecodeError:
            continue
        if "\0" in text:
            raise BankFileError([(0, "This is not a text file. Send camt.053 or CSV.")])
        return text
    raise BankFileError([(0, "This is not a text file. Send camt.053 or CSV.")])


@dataclass(frozen=True)
class _Row:
    """One row under a mapping. Its readers raise ValueError with a sentence for people."""

    number: int
    cells: Sequence[str]
    mapping: CsvMapping
    currency: str

    def line(self) -> FoundLine:
        width = 1 + max(index for _, index in self.mapping.columns)
        if len(self.cells) < width:
            raise ValueError(f"There are {len(self.cells)} columns; {width} are needed.")
        self._check_currency()
        reference = self._cell("reference")
        return FoundLine(
            line=self.number,
            booked_on=read_day(self._cell("date"), self.mapping.date_order),
            amount_minor=self._amount_minor(),
            currency=self.currency,
            reference="" if is_no_reference(reference) else reference,
            text=self._cell("text"),
            counterparty=self._cell("name"),
            bank_reference=self._cell("bank_reference"),
        )

    def _cell(self, role: str) -> str:
        cells = [self.cells[index] for one, index in self.mapping.columns if one == role]
        return " ".join(cell for cell in cells if cell)

    def _check_currency(self) -> None:
        written = self._cell("currency").upper()
        if written and written != self.currency:
            raise ValueError(
                f"The amount is in {written[:12]}; the studio's books are kept in {self.currency}."
            )

    def _amount_minor(self) -> int:
        if any(role == "amount" for role, _ in self.mapping.columns):
            return self._read("amount")
        paid_in, paid_out = abs(self._read("credit")), abs(self._read("debit"))
        if paid_in and paid_out:
            raise ValueError("Money came in and went out on one line; only one of them can be.")
        if not self._cell("credit") and not self._cell("debit"):
            raise ValueError("There is no amount.")
        return paid_in - paid_out

    def _read(self, role: str) -> int:
        text = self._cell(role)
        if not text:
            if role == "amount":
                raise ValueError("There is no amount.")
            return 0
        return read_amount(text, self.mapping.decimal_mark, self.currency)


def read_day(text: str, order: str) -> date:
    """A day as banks write it; years of two digits are of this century. A time is passed over.

    Raises ValueError with a sentence for people. `order`: iso, day_first or month_first.
    """
    found = _DAY.fullmatch(text)
    try:
        if found is None:
            raise ValueError("it is written otherwise")
        day = _day(found, order)
        if not _FIRST_YEAR <= day.year <= _LAST_YEAR:
            raise ValueError(f"the year must lie between {_FIRST_YEAR} and {_LAST_YEAR}")
    except ValueError as fault:
        shown = repr(text[:40]) if text else "Nothing"
        raise ValueError(f"{shown} is no day such as {_EXAMPLES[order]}: {fault}.") from None
    return day


def _day(found: re.Match[str], order: str) -> date:
    if found["compact"]:
        return date.fromisoformat(found["compact"])
    first, second, third = found["a"], int(found["b"]), found["c"]
    if len(first) == 4:
        return date(int(first), second, int(third))
    if order == "iso":
        raise ValueError("the year must come first")
    if len(third) not in (2, 4):
        raise ValueError("the year must have two or four digits")
    year = int(third) + (2000 if len(third) == 2 else 0)
    return (
        date(year, second, int(first)) if order == "day_first" else date(year, int(first), second)
    )


def read_amount(text: str, decimal_mark: str, currency: str) -> int:
    """Minor units of an amount such as "1.234,56", "-12.50", "12,50-" or "1 234,56 EUR".

    Raises ValueError with a sentence for people.
    """
    number = (
        "".join(text.split())
        .replace("\N{MINUS SIGN}", "-")
        .replace("\N{RIGHT SINGLE QUOTATION MARK}", "'")
    )
    number = number.removesuffix(currency).removeprefix(currency)
    group = re.escape("." if decimal_mark == "," else ",")
    found = re.fullmatch(
        rf"(?P<sign>[+-]?)(?P<whole>\d+|\d{{1,3}}(?:[{group}']\d{{3}})+)"
        rf"(?:{re.escape(decimal_mark)}(?P<part>\d+))?(?P<after>[+-]?)",
        number,
    )
    if found is None or (found["sign"] and found["after"]):
        mark = "comma" if decimal_mark == "," else "point"
        raise ValueError(f"{text[:40]!r} is no amount with a decimal {mark}.")
    whole = re.sub(r"\D", "", found["whole"])
    if len(whole) > 12:
        raise ValueError(f"{text[:40]!r} is more than any account holds.")
    try:
        minor = to_minor(Decimal(f"{whole}.{found['part'] or '0'}"), currency)
    except ValueError:
        digits = minor_digits(currency)
        raise ValueError(
            f"{text[:40]!r} has more than the {digits} decimals of {currency}."
        ) from None
    return -minor if "-" in (found["sign"], found["after"]) else minor
