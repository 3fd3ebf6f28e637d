"""Guess how a bank's table is laid out, for a person to confirm or correct."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from billing.calculations.bank_csv import (
    DATE_ORDERS,
    DELIMITERS,
    SEVERAL,
    CsvMapping,
    read_amount,
    read_day,
    rows_of,
)
from billing.calculations.bank_files import BankFileError

SAMPLE_ROWS = 200
ROWS_SHOWN = 5

# Words that titles of bank tables are made of, in four languages (common practice, no source).
# The first role that has a word of the title gets the column.
_TITLES = {
    "currency": "currency ccy währung waehrung devise munt divisa",
    "credit": "credit credits deposit deposits haben gutschrift crédit",
    "debit": "debit debits withdrawal withdrawals soll lastschrift débit",
    "amount": "amount betrag umsatz montant bedrag importe",
    "date": "date day booked booking posted buchungstag buchungsdatum datum",
    "name": "name payer payee counterparty begünstigter beguenstigter zahlungspflichtiger "
    "zahlungsbeteiligter auftraggeber empfänger empfaenger nom naam tegenpartij",
    "bank_reference": "id transaction transactionid bankreferenz",
    "reference": "reference ref referenz kundenreferenz endtoend référence kenmerk",
    "text": "text description details memo purpose narrative remittance message "
    "verwendungszweck buchungstext libellé motif omschrijving",
}
_WORDS = {role: frozenset(words.split()) for role, words in _TITLES.items()}
_VALUE_DATE = frozenset(("value", "valuta", "wert", "wertstellung", "valeur"))


@dataclass(frozen=True, slots=True)
class CsvColumn:
    """A column with its title; `role` is None when nobody can tell."""

    index: int
    title: str
    role: str | None


@dataclass(frozen=True, slots=True)
class CsvPreview:
    """The beginning of a table, and how it seems to be laid out."""

    delimiter: str
    decimal_mark: str
    date_order: str
    columns: tuple[CsvColumn, ...]
    first_rows: tuple[tuple[str, ...], ...]
    first_line: int
    warnings: tuple[str, ...] = ()

    @property
    def mapping(self) -> CsvMapping:
        """The mapping that follows from the guesses."""
        columns = tuple((one.role, one.index) for one in self.columns if one.role is not None)
        return CsvMapping(
            self.delimiter, self.decimal_mark, self.date_order, columns, self.first_line
        )


def preview_bank_csv(content: bytes, currency: str) -> CsvPreview:
    """Guess from the first 200 rows. Raises BankFileError when there is nothing to read."""
    delimiter = _delimiter_of(content)
    rows = [row for row, _ in zip(rows_of(content, delimiter), range(SAMPLE_ROWS), strict=False)]
    if not rows:
        raise BankFileError([(0, "The file is empty.")])
    width = _usual_width(rows)
    titles, body = _split_titles([row for row in rows if len(row[1]) >= width], width)
    if not body:
        raise BankFileError([(0, "No line begins to look like a payment: none has a day in it.")])
    cells = [row[:width] for _, row in body]
    guesser = _Guesser(titles, [[row[index] for row in cells] for index in range(width)], currency)
    columns = guesser.columns()
    return CsvPreview(
        delimiter,
        guesser.decimal_mark,
        guesser.date_order(columns),
        columns,
        tuple(tuple(row) for row in cells[:ROWS_SHOWN]),
        body[0][0],
        tuple(guesser.warnings),
    )


def _delimiter_of(content: bytes) -> str:
    """The delimiter that cuts most rows into equally many cells, the more cells the better."""

    def rows_alike(delimiter: str) -> tuple[int, int]:
        sample = zip(rows_of(content, delimiter), range(SAMPLE_ROWS), strict=False)
        widths = Counter(len(cells) for (_, cells), _ in sample if len(cells) > 1)
        return max(((count, width) for width, count in widths.items()), default=(0, 0))

    return max(DELIMITERS, key=rows_alike)


def _usual_width(rows: Sequence[tuple[int, list[str]]]) -> int:
    return Counter(len(cells) for _, cells in rows).most_common(1)[0][0]


def _split_titles(
    rows: Sequence[tuple[int, list[str]]], width: int
) -> tuple[list[str], list[tuple[int, list[str]]]]:
    """The titles above the first row with a day in it, and the rows from there."""
    for position, (_, cells) in enumerate(rows):
        if any(_is_day(cell) for cell in cells):
            titles = rows[position - 1][1] if position else []
            return [title or "" for title in titles[:width]], list(rows[position:])
    return [], []


def _is_day(cell: str) -> bool:
    return any(_reads_as(cell, order) for order in DATE_ORDERS)


def _reads(read: Callable[[], object]) -> bool:
    try:
        read()
    except ValueError:
        return False
    return True


@dataclass
class _Guesser:
    titles: Sequence[str]
    cells: Sequence[Sequence[str]]
    currency: str
    warnings: list[str] = field(default_factory=list)

    @property
    def decimal_mark(self) -> str:
        """The mark that stands before the last one or two digits more often."""
        numbers = [cell for column in self.cells for cell in column if not _is_day(cell)]
        commas = sum(bool(re.search(r"\d,\d{1,2}\D*$", cell)) for cell in numbers)
        points = sum(bool(re.search(r"\d\.\d{1,2}\D*$", cell)) for cell in numbers)
        return "," if commas > points else "."

    def columns(self) -> tuple[CsvColumn, ...]:
        taken: set[str] = set()
        found = []
        for index, column in enumerate(self.cells):
            title = self.titles[index] if index < len(self.titles) else ""
            role = self._role(title, column, taken)
            taken.update({role} if role else ())
            found.append(CsvColumn(index, title or f"Column {index + 1}", role))
        if "date" not in taken:
            self.warnings.append("No column seems to hold the day of booking; choose it.")
        if not taken & {"amount", "credit"}:
            self.warnings.append("No column seems to hold the amount; choose it.")
        return tuple(found)

    def _role(self, title: str, column: Sequence[str], taken: set[str]) -> str | None:
        words = set(re.findall(r"[^\W\d_]+", title.lower()))
        role = next((role for role, known in _WORDS.items() if words & known), None)
        filled = [cell for cell in column if cell]
        if filled and _mostly(_is_day, filled):
            role = None if words & _VALUE_DATE else "date"
        elif role in ("amount", "debit", "credit") or not self.titles:
            is_money = bool(filled) and _mostly(self._is_amount, filled)
            role = (role or "amount") if is_money else (None if self.titles else "text")
        elif role == "date":
            role = None
        if role in ("debit", "credit") and "amount" in taken:
            return None
        return role if role in SEVERAL or role not in taken else None

    def _is_amount(self, cell: str) -> bool:
        return _reads(lambda: read_amount(cell, self.decimal_mark, self.currency))

    def date_order(self, columns: Sequence[CsvColumn]) -> str:
        """The order in which all days can be read; a warning where two orders fit."""
        dates = [self.cells[one.index] for one in columns if one.role == "date"]
        days = [cell for column in dates for cell in column if _is_day(cell)]
        fitting = [order for order in DATE_ORDERS if all(_reads_as(day, order) for day in days)]
        if not days or not fitting or "iso" in fitting:
            return "iso"
        if len(fitting) > 1 and not all("." in day for day in days):
            self.warnings.append("The days could be read in two orders; check the order.")
        return fitting[0]


def _reads_as(cell: str, order: str) -> bool:
    return _reads(lambda: read_day(cell, order))


def _mostly(is_such: Callable[[str], bool], cells: Sequence[str]) -> bool:
    """More than half, so that a few bad lines hide nothing."""
    return 2 * sum(1 for cell in cells if is_such(cell)) > len(cells)
