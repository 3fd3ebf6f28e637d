"""Take a logger's file in: readings in UTC, C, W and Wh, or every reason why not.

A file is taken in whole or not at all. `preview_log` guesses its layout, a person confirms or
corrects the mapping, and `parse_log` reads it.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from firings.calculations.log_columns import (
    NO_VALUE,
    UNITS_OF_ROLE,
    ColumnMapping,
    MappedColumn,
    number_and_unit,
)
from firings.calculations.log_lines import (
    MAX_LOG_BYTES,
    MAX_LOG_ROWS,
    Faults,
    LogFileError,
    LogSource,
    cells_of,
    numbered_lines,
)
from firings.calculations.log_preview import ColumnGuess, LogPreview, preview_log
from firings.calculations.log_times import (
    LinedMoment,
    placed_in_zone,
    read_elapsed,
    read_moment,
)
from firings.calculations.readings import Reading, check_reading


def _from_fahrenheit(number: float) -> float:
    return (number - 32) / 1.8  # NIST SP 811, B.8


_TO_STORED_UNIT: dict[str, Callable[[float], float]] = {
    "F": _from_fahrenheit,
    "kW": lambda number: number * 1000,
    "kWh": lambda number: number * 1000,
    "percent": lambda number: number / 100,
}
_FIELD_OF_ROLE = {
    "temp": "temp_c",
    "zone2": "zone2_c",
    "zone3": "zone3_c",
    "set_point": "set_point_c",
    "power": "power_w",
    "duty": "duty",
    "register": "register_wh",
    "room": "room_c",
    "control_box": "control_box_c",
}
_NAME_OF_ROLE = {
    "temp": "temperature",
    "zone2": "temperature of zone 2",
    "zone3": "temperature of zone 3",
    "set_point": "set point",
    "power": "power",
    "duty": "duty",
    "register": "meter register",
    "room": "room temperature",
    "control_box": "control box temperature",
}


@dataclass(frozen=True, slots=True)
class ParsedLog:
    """The readings of a file, in order of time, and what a person should know about them."""

    readings: tuple[Reading, ...]
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class _Row:
    moment: LinedMoment
    values: dict[str, float | None]


def parse_log(
    source: LogSource,
    mapping: ColumnMapping,
    time_zone: ZoneInfo,
    started_at: datetime | None = None,
    *,
    allow_disorder: bool = False,
) -> list[Reading]:
    """The readings of a file in order of time; see `read_log`, which also returns warnings."""
    return list(
        read_log(source, mapping, time_zone, started_at, allow_disorder=allow_disorder).readings
    )


def read_log(
    source: LogSource,
    mapping: ColumnMapping,
    time_zone: ZoneInfo,
    started_at: datetime | None = None,
    *,
    allow_disorder: bool = False,
) -> ParsedLog:
    """Read a file.

    `time_zone`: that of local times in the file. `started_at`: an aware moment, needed when the
    file counts from the start. `allow_disorder`: sort lines that are not in order of time instead
    of refusing them. Raises LogFileError with every fault it finds; nothing is taken in by half.
    """
    if started_at is not None and started_at.utcoffset() is None:
        raise ValueError(f"started_at must be aware, got {started_at.isoformat()}")
    _check_required(mapping, started_at)
    reader = _RowReader(mapping, started_at)
    for number, line in numbered_lines(source):
        if number >= mapping.first_line:
            reader.read(number, line)
    reader.faults.refuse()
    if not reader.rows:
        raise LogFileError([(0, "The file has no readings.")])
    return _in_order(reader.rows, mapping, time_zone, allow_disorder)


def _check_required(mapping: ColumnMapping, started_at: datetime | None) -> None:
    roles = {column.role for column in mapping.columns}
    missing = []
    if not roles & {"time", "elapsed"} and not {"date", "clock"} <= roles:
        missing.append("the time (or a date and a clock time, or the time since the start)")
    if "temp" not in roles:
        missing.append("the temperature")
    if missing:
        raise LogFileError([(0, f"Say which column holds {' and which '.join(missing)}.")])
    if _time_role(mapping) == "elapsed" and started_at is None:
        raise LogFileError(
            [(0, "The file counts from the start of the firing: say when the firing started.")]
        )


def _time_role(mapping: ColumnMapping) -> str:
    if mapping.column("time"):
        return "time"
    return "date" if mapping.column("date") and mapping.column("clock") else "elapsed"


class _RowReader:
    """Reads line after line, gathering rows and faults."""

    def __init__(self, mapping: ColumnMapping, started_at: datetime | None) -> None:
        self.mapping = mapping
        self.started_at = started_at
        self.faults = Faults()
        self.rows: list[_Row] = []
        self._time_role = _time_role(mapping)
        self._values = [column for column in mapping.columns if column.role in _FIELD_OF_ROLE]
        self._width = 1 + max(column.index for column in mapping.columns)
        self._unit_seen: dict[int, tuple[str, int]] = {}

    def read(self, number: int, line: str) -> None:
        cells = cells_of(line, self.mapping.delimiter)
        if not any(cells):
            return
        if len(self.rows) >= MAX_LOG_ROWS:
            raise LogFileError(
                [(number, f"The file has more than {MAX_LOG_ROWS:,} rows. Send it in parts.")]
            )
        if len(cells) < self._width:
            self.faults.add(number, f"There are {len(cells)} columns; {self._width} are needed.")
            return
        try:
            moment = self._moment(cells)
        except ValueError as error:
            self.faults.add(number, str(error))
            return
        values: dict[str, float | None] = {}
        for column in self._values:
            try:
                values[column.role] = self._value(number, column, cells[column.index])
            except ValueError as error:
                self.faults.add(number, str(error))
        self.rows.append(_Row(LinedMoment(number, moment), values))

    def _cell(self, cells: Sequence[str], role: str) -> tuple[str, MappedColumn]:
        column = self.mapping.column(role)
        if column is None:
            raise ValueError(f"There is no column for the {role}.")
        return cells[column.index], column

    def _moment(self, cells: Sequence[str]) -> datetime:
        text, column = self._cell(cells, self._time_role)
        if not text:
            raise ValueError("There is no time.")
        if self._time_role == "elapsed" and self.started_at is not None:
            number = None if column.unit == "clock" else self._number(text, column)
            return self.started_at + read_elapsed(text, number, column.unit)
        if self._time_role == "date":
            text = f"{text} {self._cell(cells, 'clock')[0]}"
        return read_moment(text, column.unit)

    def _number(self, text: str, column: MappedColumn) -> float:
        name = _NAME_OF_ROLE.get(column.role, "time since the start")
        found = number_and_unit(text)
        if found is None:
            raise ValueError(f"The {name} {text!r} is no number.")
        number, unit = found
        other_mark = "," if self.mapping.decimal_mark == "." else "."
        if other_mark in number:
            mark = "point" if other_mark == "," else "comma"
            raise ValueError(f"The {name} {text!r} is no number with a decimal {mark}.")
        if unit is not None and unit != column.unit:
            raise ValueError(f"The {name} {text!r} is in {unit}, but is read as {column.unit}.")
        return float(number.replace(",", "."))

    def _value(self, line: int, column: MappedColumn, text: str) -> float | None:
        if text.lower() in NO_VALUE:
            if column.role == "temp":
                raise ValueError("There is no temperature.")
            return None
        self._check_one_unit(line, column, text)
        number = self._number(text, column)
        convert = _TO_STORED_UNIT.get(column.unit)
        return number if convert is None else convert(number)

    def _check_one_unit(self, line: int, column: MappedColumn, text: str) -> None:
        """Refuse a unit that differs from one written higher up in the same column."""
        found = number_and_unit(text)
        if found is None or found[1] is None:
            return
        unit, first_line = self._unit_seen.setdefault(column.index, (found[1], line))
        if unit != found[1]:
            raise ValueError(
                f"The {_NAME_OF_ROLE[column.role]} {text!r} mixes units: "
                f"line {first_line} is in {unit}. Send one unit in each column."
            )


def _in_order(
    rows: Sequence[_Row], mapping: ColumnMapping, time_zone: ZoneInfo, allow_disorder: bool
) -> ParsedLog:
    faults = Faults()
    moments = [row.moment for row in rows]
    placed, warnings = placed_in_zone(moments, time_zone, faults, in_order=not allow_disorder)
    faults.refuse()
    timed = list(zip(placed, rows, strict=True))
    _check_times(timed, faults, allow_disorder)
    faults.refuse()
    timed.sort(key=lambda pair: pair[0])
    readings = []
    for at, row in timed:
        fields = {_FIELD_OF_ROLE[role]: value for role, value in row.values.items()}
        reading = Reading(at=at, **fields)  # type: ignore[arg-type]
        for problem in check_reading(reading):
            faults.add(row.moment.line, f"{problem[:1].upper()}{problem[1:]}.")
        readings.append(reading)
    _check_register([row for _, row in timed], mapping, faults)
    faults.refuse()
    return ParsedLog(tuple(readings), tuple(warnings))


def _check_times(
    timed: Sequence[tuple[datetime, _Row]], faults: Faults, allow_disorder: bool
) -> None:
    """Refuse a time that comes twice, and one earlier than the line before unless allowed."""
    lines: dict[datetime, int] = {}
    before: tuple[datetime, int] | None = None
    for at, row in timed:
        line = row.moment.line
        if at in lines:
            faults.add(line, f"The time is the same as on line {lines[at]}.")
        elif before is not None and at < before[0] and not allow_disorder:
            faults.add(
                line,
                f"The time is earlier than on line {before[1]}. "
                f"Sort the file, or ask for it to be sorted.",
            )
        lines.setdefault(at, line)
        before = (at, line)


def _check_register(rows: Sequence[_Row], mapping: ColumnMapping, faults: Faults) -> None:
    """A meter only counts up; one that falls was changed, or is another meter."""
    column = mapping.column("register")
    if column is None:
        return
    scale = 1000 if column.unit == "kWh" else 1
    before: tuple[float, int] | None = None
    for row in rows:
        stands_wh = row.values.get("register")
        if stands_wh is None:
            continue
        if before is not None and stands_wh < before[0]:
            faults.add(
                row.moment.line,
                f"The meter runs backwards: {stands_wh / scale:g} {column.unit}, after "
                f"{before[0] / scale:g} {column.unit} on line {before[1]}.",
            )
        before = (stands_wh, row.moment.line)


__all__ = [
    "MAX_LOG_BYTES",
    "MAX_LOG_ROWS",
    "UNITS_OF_ROLE",
    "ColumnGuess",
    "ColumnMapping",
    "LogFileError",
    "LogPreview",
    "MappedColumn",
    "ParsedLog",
    "parse_log",
    "preview_log",
    "read_log",
]
