"""What the columns of a logger's file may hold, in which units, and how a person maps them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any

DELIMITERS = (";", "\t", "|", ",")
DECIMAL_MARKS = (".", ",")

ZONE_ROLES = ("temp", "zone2", "zone3")
TEMPERATURE_ROLES = (*ZONE_ROLES, "set_point", "room", "control_box", "cold_junction")
# Millivolts of a thermocouple, by its type; see thermocouple_emf.py.
EMF_UNITS = ("mV K", "mV S", "mV R")
UNITS_OF_ROLE: dict[str, tuple[str, ...]] = {
    "time": ("iso", "day_first", "month_first"),
    "date": ("iso", "day_first", "month_first"),
    "clock": ("",),
    "elapsed": ("min", "h", "s", "clock"),
    **dict.fromkeys(TEMPERATURE_ROLES, ("C", "F")),
    **dict.fromkeys(ZONE_ROLES, ("C", "F", *EMF_UNITS)),
    "power": ("W", "kW"),
    "duty": ("percent", "fraction"),
    "register": ("kWh", "Wh"),
}

_NUMBER = re.compile(
    r"(?P<number>[+-]?(?:\d+(?:[.,]\d+)?|[.,]\d+)(?:[eE][+-]?\d+)?)\s*(?P<unit>°?\s*[A-Za-z]+|%)?"
)
UNIT_WRITTEN = {
    "c": "C",
    "degc": "C",
    "f": "F",
    "degf": "F",
    "w": "W",
    "kw": "kW",
    "wh": "Wh",
    "kwh": "kWh",
    "%": "percent",
    "s": "s",
    "min": "min",
    "h": "h",
    "mv": "mV",
}
NO_VALUE = frozenset(("", "-", "--", "---", "n/a", "na", "nan", "null", "none"))


def number_and_unit(cell: str) -> tuple[str, str | None] | None:
    """The number of a cell as written, and its unit if it has one: "1832 °F" is ("1832", "F").

    None for what is no number; a unit nobody knows is given back as written.
    """
    found = _NUMBER.fullmatch(cell)
    if found is None:
        return None
    written = found["unit"]
    if written is None:
        return found["number"], None
    plain = written.replace("°", "").replace(" ", "").lower()
    return found["number"], UNIT_WRITTEN.get(plain, written)


@dataclass(frozen=True, slots=True)
class MappedColumn:
    """A column that is read. See UNITS_OF_ROLE for the roles and their units."""

    index: int
    role: str
    unit: str = ""

    def __post_init__(self) -> None:
        if self.role not in UNITS_OF_ROLE:
            raise ValueError(f"role must be one of {', '.join(UNITS_OF_ROLE)}, got {self.role!r}")
        units = UNITS_OF_ROLE[self.role]
        if self.unit not in units:
            raise ValueError(
                f"unit of {self.role} must be one of {', '.join(units)}, got {self.unit!r}"
            )
        if self.index < 0:
            raise ValueError(f"index must be 0 or more, got {self.index}")


@dataclass(frozen=True, slots=True)
class ColumnMapping:
    """How a file is to be read. Lines before `first_line` (its title lines) are passed over.

    `cold_junction_c`: where the file has millivolts and no column says it, the temperature of the
    thermocouple's terminals.
    """

    delimiter: str
    decimal_mark: str
    columns: tuple[MappedColumn, ...]
    first_line: int = 1
    cold_junction_c: float | None = None

    def __post_init__(self) -> None:
        if self.delimiter not in DELIMITERS:
            raise ValueError(f"delimiter must be one of ; tab | , and is {self.delimiter!r}")
        if self.decimal_mark not in DECIMAL_MARKS:
            raise ValueError(f"decimal_mark must be a point or a comma, got {self.decimal_mark!r}")
        for name in ("role", "index"):
            twice = _first_twice([getattr(column, name) for column in self.columns])
            if twice is not None:
                raise ValueError(f"columns must each have another {name}, got {twice} twice")

    def to_json(self) -> dict[str, Any]:
        """Return the mapping as a dict that JSON can carry."""
        return asdict(self)

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> ColumnMapping:
        """Return the mapping that `to_json` gave. Raises ValueError for what is none."""
        try:
            columns = tuple(MappedColumn(**column) for column in values["columns"])
            return cls(**{**values, "columns": columns})
        except (TypeError, KeyError) as error:
            raise ValueError(f"values must be a mapping of columns, got {values!r}") from error

    def column(self, role: str) -> MappedColumn | None:
        return next((column for column in self.columns if column.role == role), None)


def _first_twice(values: Sequence[object]) -> object | None:
    return next((value for value, count in Counter(values).items() if count > 1), None)
