"""The cells of a log's line, each looked at with care: what it holds, or why it cannot be."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from firings.calculations.log_columns import (
    NO_VALUE,
    ColumnMapping,
    MappedColumn,
    number_and_unit,
)
from firings.calculations.log_lines import Faults, cells_of
from firings.calculations.log_times import LinedMoment, read_elapsed, read_moment

# No field of a reading: it goes into what millivolts say.
COLD_JUNCTION = "cold_junction"


def from_fahrenheit(number: Any) -> Any:
    return (number - 32) / 1.8  # NIST SP 811, B.8


TO_STORED_UNIT: dict[str, Callable[[Any], Any]] = {
    "F": from_fahrenheit,
    "kW": lambda number: number * 1000,
    "kWh": lambda number: number * 1000,
    "percent": lambda number: number / 100,
}
FIELD_OF_ROLE = {
    "temp": "temp_c",
    "zone2": "zone2_c",
    "zone3": "zone3_c",
    "set_point": "set_point_c",
    "power": "power_w",
    "duty": "duty",
    "register": "register_wh",
    "room": "room_c",
    "control_box": "control_box_c",
    COLD_JUNCTION: COLD_JUNCTION,
}
NAME_OF_ROLE = {
    "temp": "temperature",
    "zone2": "temperature of zone 2",
    "zone3": "temperature of zone 3",
    "set_point": "set point",
    "power": "power",
    "duty": "duty",
    "register": "meter register",
    "room": "room temperature",
    "control_box": "control box temperature",
    COLD_JUNCTION: "cold junction temperature",
}


@dataclass(frozen=True, slots=True)
class Row:
    """A line that was read: millivolts are left as they are, all else is in stored units."""

    moment: LinedMoment
    values: dict[str, float | None]


def time_role(mapping: ColumnMapping) -> str:
    """Which role tells the time: "time", "date" (with "clock") or "elapsed"."""
    if mapping.column("time"):
        return "time"
    return "date" if mapping.column("date") and mapping.column("clock") else "elapsed"


class RowReader:
    """Reads line after line, gathering rows and faults."""

    def __init__(self, mapping: ColumnMapping, started_at: datetime | None, faults: Faults) -> None:
        self.mapping = mapping
        self.started_at = started_at
        self.faults = faults
        self.rows: list[Row] = []
        self._time_role = time_role(mapping)
        self._values = [column for column in mapping.columns if column.role in FIELD_OF_ROLE]
        self._width = 1 + max(column.index for column in mapping.columns)
        self._unit_seen: dict[int, tuple[str, int]] = {}

    def read(self, number: int, line: str) -> None:
        cells = cells_of(line, self.mapping.delimiter)
        if not any(cells):
            return
        if len(cells) < self._width:
            self.faults.add(number, f"There are {len(cells)} columns; {self._width} are needed.")
            return
        try:
            moment = self._moment(cells)
        except ValueError as error:
            self.faults.add(number, str(error))
            return
        told = self.faults.count
        values: dict[str, float | None] = {}
        for column in self._values:
            try:
                values[column.role] = self._value(number, column, cells[column.index])
            except ValueError as error:
                self.faults.add(number, str(error))
        if self.faults.count == told:
            self.rows.append(Row(LinedMoment(number, moment), values))

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
        name = NAME_OF_ROLE.get(column.role, "time since the start")
        found = number_and_unit(text)
        if found is None:
            raise ValueError(f"The {name} {text!r} is no number.")
        number, unit = found
        other_mark = "," if self.mapping.decimal_mark == "." else "."
        if other_mark in number:
            mark = "point" if other_mark == "," else "comma"
            raise ValueError(f"The {name} {text!r} is no number with a decimal {mark}.")
        if unit is not None and unit != column.unit.split(" ")[0]:
            raise ValueError(f"The {name} {text!r} is in {unit}, but is read as {column.unit}.")
        return float(number.replace(",", "."))

    def _value(self, line: int, column: MappedColumn, text: str) -> float | None:
        if text.lower() in NO_VALUE:
            if column.role == "temp":
                raise ValueError("There is no temperature.")
            return None
        self._check_one_unit(line, column, text)
        number = self._number(text, column)
        convert = TO_STORED_UNIT.get(column.unit)
        return number if convert is None else convert(number)

    def _check_one_unit(self, line: int, column: MappedColumn, text: str) -> None:
        """Refuse a unit that differs from one written higher up in the same column."""
        found = number_and_unit(text)
        if found is None or found[1] is None:
            return
        unit, first_line = self._unit_seen.setdefault(column.index, (found[1], line))
        if unit != found[1]:
            raise ValueError(
                f"The {NAME_OF_ROLE[column.role]} {text!r} mixes units: "
                f"line {first_line} is in {unit}. Send one unit in each column."
            )
