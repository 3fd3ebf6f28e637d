"""Guess how a logger's file is laid out, for a person to confirm or correct."""

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from firings.calculations.log_columns import (
    DELIMITERS,
    NO_VALUE,
    TEMPERATURE_ROLES,
    UNIT_WRITTEN,
    UNITS_OF_ROLE,
    ColumnMapping,
    MappedColumn,
    number_and_unit,
)
from firings.calculations.log_lines import (
    LogFileError,
    LogSource,
    cells_of,
    lines_of,
    numbered_blocks,
    telling_lines,
)
from firings.calculations.log_times import CLOCK, DATE

SAMPLE_LINES = 200
ROWS_SHOWN = 5
HEADER_LINES_AT_MOST = 3


@dataclass(frozen=True, slots=True)
class ColumnGuess:
    """What a column seems to be; `role` is None when nobody can tell."""

    index: int
    title: str
    role: str | None
    unit: str


@dataclass(frozen=True, slots=True)
class LogPreview:
    """The beginning of a file, and how it seems to be laid out.

    `header`: a title for each column, made up when the file has none. `line_count`: lines with
    readings. `warnings`: what a person should look at before the file is taken in.
    """

    delimiter: str
    decimal_mark: str
    header: tuple[str, ...]
    columns: tuple[ColumnGuess, ...]
    first_rows: tuple[tuple[str, ...], ...]
    first_line: int
    line_count: int
    warnings: tuple[str, ...] = ()

    def mapping(self) -> ColumnMapping:
        """The mapping that follows from the guesses."""
        columns = tuple(
            MappedColumn(guess.index, guess.role, guess.unit)
            for guess in self.columns
            if guess.role is not None
        )
        return ColumnMapping(self.delimiter, self.decimal_mark, columns, self.first_line)


def preview_log(
    source: LogSource, delimiter: str | None = None, thermocouple: str = "K"
) -> LogPreview:
    """Guess the layout of a file from its first 200 lines.

    `delimiter`: what parts the columns, when a person has said it. `thermocouple`: the type that
    millivolts are taken to be of. Raises LogFileError when the file is empty.
    """
    sample, more = _sample(source)
    if not sample:
        raise LogFileError([(0, "The file is empty.")])
    chosen = DELIMITERS if delimiter is None else (delimiter,)
    delimiter, width = _delimiter_of([line for _, line in sample], chosen)
    rows = [(number, cells_of(line, delimiter)) for number, line in sample]
    rows = [(number, cells) for number, cells in rows if len(cells) >= width]
    titles, body = _split_header(rows)
    if not body:
        raise LogFileError([(0, "The file has titles but no readings.")])
    cells = [row for _, row in body]
    header = tuple(
        " ".join(part[index] for part in titles if part[index]) or f"Column {index + 1}"
        for index in range(width)
    )
    columns = [[row[index] for row in cells] for index in range(width)]
    guesser = _Guesser(header, columns, bool(titles), f"mV {thermocouple}")
    guesses = guesser.guesses()
    return LogPreview(
        delimiter,
        _decimal_mark_of(columns, delimiter),
        header,
        guesses,
        tuple(tuple(row) for row in cells[:ROWS_SHOWN]),
        body[0][0],
        len(body) + more,
        tuple(guesser.warnings),
    )


def _sample(source: LogSource) -> tuple[list[tuple[int, str]], int]:
    """The first lines that say something, and how many more there are."""
    sample: list[tuple[int, str]] = []
    more = 0
    for first, block in numbered_blocks(source):
        if len(sample) == SAMPLE_LINES and not _MAY_BE_SILENT.search(block):
            more += 1 + block.count("\n")
            continue
        for numbered in telling_lines(first, lines_of(block)):
            if len(sample) < SAMPLE_LINES:
                sample.append(numbered)
            else:
                more += 1
    return sample, more


_MAY_BE_SILENT = re.compile(r"[#\0]|\r(?!\n)|\n\s*\n|\A\s|\n\s*\Z")


def _delimiter_of(lines: Sequence[str], delimiters: Sequence[str]) -> tuple[str, int]:
    """The delimiter that cuts most lines into equally many cells, and how many."""
    best = (delimiters[-1], 1)
    most_lines = 0
    for delimiter in delimiters:
        widths = Counter(len(cells_of(line, delimiter)) for line in lines)
        width, count = max(widths.items(), key=lambda item: (item[0] > 1, item[1], item[0]))
        if width > 1 and count > most_lines:
            best, most_lines = (delimiter, width), count
    return best


def _split_header(
    rows: Sequence[tuple[int, list[str]]],
) -> tuple[list[list[str]], list[tuple[int, list[str]]]]:
    """The title lines at the top (words only), and the rest."""
    count = 0
    while count < min(HEADER_LINES_AT_MOST, len(rows)) and not any(
        _is_value(cell) for cell in rows[count][1]
    ):
        count += 1
    return [cells for _, cells in rows[:count]], list(rows[count:])


def _is_value(cell: str) -> bool:
    return bool(number_and_unit(cell) or _HAS_DATE.match(cell) or _IS_CLOCK.fullmatch(cell))


_HAS_DATE = re.compile(DATE)
_IS_CLOCK = re.compile(CLOCK)
_IS_MOMENT = re.compile(rf"{DATE}.*\d:\d\d.*")


def _decimal_mark_of(columns: Sequence[Sequence[str]], delimiter: str) -> str:
    numbers = [
        found[0] for column in columns for cell in column if (found := number_and_unit(cell))
    ]
    commas = sum("," in number for number in numbers)
    points = sum("." in number for number in numbers)
    return "," if commas > points else "."


# The words of column titles, in the order in which they decide.
_WORDS: tuple[tuple[str, frozenset[str]], ...] = (
    ("register", frozenset(("kwh", "wh", "energy", "meter", "register", "counter"))),
    ("power", frozenset(("kw", "w", "watt", "watts", "power", "load"))),
    ("duty", frozenset(("duty", "output", "percent", "%", "out", "cycle"))),
    ("set_point", frozenset(("set", "setpoint", "sp", "target", "setting"))),
    ("cold_junction", frozenset(("junction", "cj", "cjc", "terminal"))),
    ("room", frozenset(("room", "ambient"))),
    ("control_box", frozenset(("box", "board", "cabinet", "electronics"))),
    ("elapsed", frozenset(("elapsed", "runtime", "minutes", "hours", "seconds", "since"))),
    ("time", frozenset(("time", "timestamp", "datetime", "date", "clock", "when"))),
    (
        "temp",
        frozenset(
            (
                *("temp", "temperature", "tc", "zone", "thermocouple", "pv", "kiln", "actual"),
                *(
                    "chamber",
                    "top",
                    "middle",
                    "bottom",
                    "mv",
                    "temp1",
                    "temp2",
                    "temp3",
                    "tc1",
                    "tc2",
                ),
                *("tc3", "mv", "c", "f", "degc", "degf", "celsius", "fahrenheit"),
            )
        ),
    ),
)
_ZONE_ROLES = ("temp", "zone2", "zone3")
_UNIT_WORDS = {
    **UNIT_WRITTEN,
    "celsius": "C",
    "fahrenheit": "F",
    "millivolt": "mV",
    "millivolts": "mV",
    "watt": "W",
    "watts": "W",
    "percent": "percent",
    "minutes": "min",
    "minute": "min",
    "mins": "min",
    "hours": "h",
    "hour": "h",
    "hrs": "h",
    "seconds": "s",
    "sec": "s",
}
# Above this no studio kiln runs in C, and every glaze firing passes it in F.
_SURELY_FAHRENHEIT = 1400.0


@dataclass
class _Guesser:
    header: Sequence[str]
    columns: Sequence[Sequence[str]]
    is_titled: bool
    emf_unit: str
    warnings: list[str] = field(default_factory=list)

    def guesses(self) -> tuple[ColumnGuess, ...]:
        taken: set[str] = set()
        found = []
        for index, title in enumerate(self.header):
            role = self._free_role(self._role(index, title), taken)
            unit = "" if role is None else self._unit(index, title, role)
            if role is not None:
                taken.add(role)
            found.append(ColumnGuess(index, title, role, unit))
        if "temp" not in taken:
            self.warnings.append("No column seems to hold the temperature; choose it.")
        if not taken & {"time", "elapsed"} and not {"date", "clock"} <= taken:
            self.warnings.append("No column seems to hold the time; choose it.")
        return tuple(found)

    def _free_role(self, role: str | None, taken: set[str]) -> str | None:
        """The role, or for temperatures the next zone, if no column before has it."""
        if role == "temp":
            return next((zone for zone in _ZONE_ROLES if zone not in taken), None)
        return None if role in taken else role

    def _role(self, index: int, title: str) -> str | None:
        cells = [cell for cell in self.columns[index] if cell.lower() not in NO_VALUE]
        words = set(_words(title))
        role = next((role for role, known in _WORDS if words & known), None)
        if _mostly(_IS_MOMENT.fullmatch, cells):
            return "time"
        if _mostly(_HAS_DATE.fullmatch, cells):
            return "date"
        if _mostly(_IS_CLOCK.fullmatch, cells):
            return "clock" if self._has_dates() else "elapsed"
        has_numbers = _mostly(number_and_unit, cells)
        if role in ("time", "elapsed"):
            return "elapsed" if has_numbers else None
        if not self.is_titled and has_numbers:
            return "elapsed" if index == 0 and not self._has_dates() else "temp"
        return role

    def _has_dates(self) -> bool:
        return any(_mostly(_HAS_DATE.fullmatch, column) for column in self.columns)

    def _unit(self, index: int, title: str, role: str) -> str:
        if role in ("time", "date"):
            return self._date_order(index, title)
        allowed = UNITS_OF_ROLE[role]
        cells = self.columns[index]
        if role == "elapsed" and _mostly(_IS_CLOCK.fullmatch, cells):
            return "clock"
        named = [_UNIT_WORDS[word] for word in _words(title) if word in _UNIT_WORDS]
        named = [self.emf_unit if unit == "mV" else unit for unit in named]
        written = [found[1] for cell in cells if (found := number_and_unit(cell)) and found[1]]
        written = [self.emf_unit if unit == "mV" else unit for unit in written]
        for unit in [*named, *written]:
            if unit in allowed:
                return unit
        if len(allowed) == 1:
            return allowed[0]
        other = self._unit_of_other_temperature() if role in TEMPERATURE_ROLES else None
        guess = other or self._unit_by_size(index, role)
        self.warnings.append(f"The unit of {title!r} is not named; it is read as {guess}.")
        return guess

    def _unit_of_other_temperature(self) -> str | None:
        """The unit that the title of some temperature names, for those that name none."""
        for title in self.header:
            words = _words(title)
            units = {_UNIT_WORDS[word] for word in words if word in _UNIT_WORDS} & {"C", "F"}
            if units:
                return min(units)
        return None

    def _unit_by_size(self, index: int, role: str) -> str:
        numbers = [
            abs(float(found[0].replace(",", ".")))
            for cell in self.columns[index]
            if (found := number_and_unit(cell))
        ]
        largest = max(numbers, default=0.0)
        if role in TEMPERATURE_ROLES:
            return "F" if largest > _SURELY_FAHRENHEIT else "C"
        if role == "duty":
            return "fraction" if largest <= 1 else "percent"
        if role == "power":
            return "kW" if largest < 100 else "W"
        return UNITS_OF_ROLE[role][0]

    def _date_order(self, index: int, title: str) -> str:
        dates = [found for cell in self.columns[index] if (found := _HAS_DATE.match(cell))]
        if all(len(found["first"]) == 4 for found in dates):
            return "iso"
        if any(int(found["first"]) > 12 or found["mark"] == "." for found in dates):
            return "day_first"
        if any(int(found["second"]) > 12 for found in dates):
            return "month_first"
        has_halves = any(
            re.search(r"[AaPp]\.?[Mm]", cell) for column in self.columns for cell in column
        )
        order = "month_first" if has_halves else "day_first"
        first = "month" if has_halves else "day"
        self.warnings.append(f"The dates of {title!r} are read with the {first} first; check them.")
        return order


def _mostly(is_such: Callable[[str], object], cells: Sequence[str]) -> bool:
    """Whether more than half of the cells are such, so that a few bad lines hide nothing."""
    return 2 * sum(1 for cell in cells if is_such(cell)) > len(cells)


def _words(title: str) -> list[str]:
    """The words of a title: "Temp_1 (°C)" is temp, 1, c; "SetPoint" is set, point."""
    plain = title.replace("°", " ").replace("_", " ")
    apart = re.sub(r"(?<=[a-z]{2})(?=[A-Z])", " ", plain)
    return re.findall(r"[a-z]+\d?|%|\d+", f"{plain} {apart}".lower())
