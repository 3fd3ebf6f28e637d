"""Lines of a log that are plainly right, read column by column: quick, and with no message.

What is not plain, a quotation mark, a comment, a unit in a cell, a line too short, a word among
numbers, is nothing for here: `plain_part` gives None, and the lines are read cell by cell.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from typing import cast

import numpy as np

from firings.calculations.log_cells import FIELD_OF_ROLE, TO_STORED_UNIT, time_role
from firings.calculations.log_columns import ColumnMapping, MappedColumn
from firings.calculations.log_part import LogPart
from firings.calculations.log_times import (
    FIRST_YEAR,
    LAST_YEAR,
    LONGEST_ELAPSED,
    SECONDS_OF_UNIT,
)
from firings.calculations.reading_columns import Floats, Ints, us_of

# Quotes, comments, no text at all, and what Python takes for a number and nobody else.
_NOT_PLAIN = ('"', "#", "\0", "_", "\r")
_DIGITS = frozenset("0123456789")
_MOMENT_LENGTH_MIN = 16  # 2026-03-02 12:00
_YEAR_MIN_US = us_of(datetime.fromisoformat(f"{FIRST_YEAR}-01-01T00:00:00Z"))
_YEAR_MAX_US = us_of(datetime.fromisoformat(f"{LAST_YEAR}-12-31T00:00:00Z"))


def plain_part(
    first: int, block: str, mapping: ColumnMapping, started_at: datetime | None
) -> LogPart | None:
    """Read a block of lines, of which `first` is the number of the first; None if not plain."""
    block = block.replace("\r\n", "\n")
    if not block or any(sign in block for sign in _NOT_PLAIN):
        return None
    columns = _columns(block, mapping)
    if columns is None:
        return None
    count = len(columns[0])
    times = _times(columns, mapping, started_at)
    if times is None:
        return None
    values: dict[str, Floats] = {}
    for column in mapping.columns:
        if column.role in FIELD_OF_ROLE:
            numbers = _numbers(columns[column.index], column, mapping.decimal_mark)
            if numbers is None:
                return None
            values[FIELD_OF_ROLE[column.role]] = numbers
    lines = np.arange(first, first + count, dtype=np.int64)
    at_us, is_local = times
    return LogPart(lines, at_us, np.full(count, is_local), values)


def _columns(block: str, mapping: ColumnMapping) -> list[list[str]] | None:
    """The cells by column, cut in one go; None when lines have not equally many."""
    sign = mapping.delimiter
    width, count = block.partition("\n")[0].count(sign) + 1, block.count("\n") + 1
    cells = block.replace("\n", f"{sign}\n{sign}").split(sign)
    is_even = len(cells) == count * (width + 1) - 1
    if not is_even or cells[width :: width + 1].count("\n") != count - 1:
        return None
    if width <= max(column.index for column in mapping.columns):
        return None
    return [cells[place :: width + 1] for place in range(width)]


def _numbers(cells: Sequence[str], column: MappedColumn, mark: str) -> Floats | None:
    if mark == ",":
        whole = ";".join(cells)
        if "." in whole:
            return None
        cells = whole.replace(",", ".").split(";")
    numbers: Floats | None
    try:
        numbers = np.array(list(map(float, cells)))
    except ValueError:
        numbers = _numbers_with_holes(cells)
    if numbers is None or np.isinf(numbers).any():
        return None
    if column.role == "temp" and np.isnan(numbers).any():
        return None
    convert = TO_STORED_UNIT.get(column.unit)
    return numbers if convert is None else cast("Floats", convert(numbers))


def _numbers_with_holes(cells: Sequence[str]) -> Floats | None:
    try:
        return np.array([float(cell) if cell.strip() else math.nan for cell in cells])
    except ValueError:
        return None


def _times(
    columns: Sequence[Sequence[str]], mapping: ColumnMapping, started_at: datetime | None
) -> tuple[Ints, bool] | None:
    """Microseconds since 1970 and whether they are local; None if not plain."""
    role = time_role(mapping)
    column = mapping.column(role)
    if column is None:
        return None
    cells = columns[column.index]
    if role == "elapsed":
        elapsed_s = (
            None if column.unit == "clock" else _numbers(cells, column, mapping.decimal_mark)
        )
        return None if elapsed_s is None else _since_start(elapsed_s, column.unit, started_at)
    clock = mapping.column("clock")
    if role == "date" and clock is not None:
        pairs = zip(cells, columns[clock.index], strict=True)
        cells = [f"{date.strip()} {time.strip()}" for date, time in pairs]
    return _moments(cells, column.unit)


def _since_start(
    elapsed_s: Floats, unit: str, started_at: datetime | None
) -> tuple[Ints, bool] | None:
    seconds = elapsed_s * SECONDS_OF_UNIT[unit]
    if (
        started_at is None
        or not ((seconds >= 0) & (seconds <= LONGEST_ELAPSED.total_seconds())).all()
    ):
        return None
    return us_of(started_at) + np.rint(seconds * 1e6).astype(np.int64), False


def _moments(cells: Sequence[str], order: str) -> tuple[Ints, bool] | None:
    if min(map(len, cells)) < _MOMENT_LENGTH_MIN:
        return None
    if order != "iso" and not cells[0][:4].isdigit():
        cells = [_year_first(cell, order) for cell in cells]
    is_local = {cell[-1] for cell in cells} != {"Z"}
    if not is_local:
        cells = [cell[:-1] for cell in cells]
    whole = "\n".join(cells)
    has_offsets = "+" in whole or whole.count("-") != 2 * len(cells)
    if has_offsets or not {cell[-1] for cell in cells} <= _DIGITS:
        return _moments_with_offsets(cells) if is_local else None
    if not {cell[10] for cell in cells} <= {" ", "T"}:
        return None
    try:
        at_us = np.array(cells, dtype="datetime64[us]").astype(np.int64)
    except ValueError:
        return None
    return _in_years(at_us, is_local=is_local)


def _moments_with_offsets(cells: Sequence[str]) -> tuple[Ints, bool] | None:
    try:
        moments = list(map(datetime.fromisoformat, cells))
    except ValueError:
        return None
    if None in {moment.tzinfo for moment in moments}:
        return None
    # A float of 52 bits holds such seconds to a quarter of a microsecond.
    at_us = np.rint(np.array([moment.timestamp() for moment in moments]) * 1e6)
    return _in_years(at_us.astype(np.int64), is_local=False)


def _in_years(at_us: Ints, *, is_local: bool) -> tuple[Ints, bool] | None:
    in_years = (at_us >= _YEAR_MIN_US) & (at_us <= _YEAR_MAX_US)
    return (at_us, is_local) if in_years.all() else None


def _year_first(cell: str, order: str) -> str:
    """29.03.2026 13:30 as 2026-03-29 13:30; what is no such date stays no date."""
    day, month = (cell[:2], cell[3:5]) if order == "day_first" else (cell[3:5], cell[:2])
    return f"{cell[6:10]}-{month}-{day}{cell[10:]}" if cell[2] == cell[5] else ""
