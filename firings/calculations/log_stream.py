"""A log file as a stream of readings: however long it is, only a piece of it is in memory.

Lines are read in blocks: plain ones by columns (plain_lines.py), others cell by cell
(log_cells.py). Times are placed in their zone, checked for order and for what can be true, and go
out as columns, in order. Nothing more goes out after the first fault; all are gathered, and told
at the end.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import numpy as np

from firings.calculations import log_lines
from firings.calculations.log_cells import COLD_JUNCTION, FIELD_OF_ROLE, RowReader, time_role
from firings.calculations.log_columns import EMF_UNITS, ColumnMapping
from firings.calculations.log_lines import (
    Faults,
    LogFileError,
    LogSource,
    numbered_blocks,
    telling_lines,
)
from firings.calculations.log_part import LogPart, joined_parts, part_of
from firings.calculations.log_times import placed_in_zone
from firings.calculations.plain_lines import plain_part
from firings.calculations.reading_columns import (
    EPOCH,
    MICROSECOND,
    ReadingColumns,
    impossible_places,
    us_of,
)
from firings.calculations.readings import check_reading
from firings.calculations.thermocouple_emf import temp_from_emf_c

# To be sorted, a file must be in memory.
SORTED_ROWS_MAX = 200_000
# A zone's clock is asked so far around a part, and no part that is longer than this at once.
CLOCK_MARGIN = timedelta(hours=3)
CLOCK_SPAN_MAX_US = int(timedelta(days=20) / MICROSECOND)


class LogStream:
    """The readings of a file, part by part; see `read_log` for the arguments.

    Iterating raises LogFileError at the end when there was any fault. `warnings` and `count` are
    complete when it has ended.
    """

    def __init__(
        self,
        source: LogSource,
        mapping: ColumnMapping,
        time_zone: ZoneInfo,
        started_at: datetime | None = None,
        *,
        allow_disorder: bool = False,
    ) -> None:
        check_mapping(mapping, started_at)
        self.warnings: list[str] = []
        self.count = 0
        self._source, self._mapping, self._zone = source, mapping, time_zone
        self._started_at, self._sorts = started_at, allow_disorder
        self._faults = Faults()
        self._reader = RowReader(mapping, started_at, self._faults)
        self._roles = [c.role for c in mapping.columns if c.role in FIELD_OF_ROLE]
        self._last: tuple[int, int] | None = None
        self._register: tuple[float, int] | None = None

    def __iter__(self) -> Iterator[ReadingColumns]:
        for part in self._sorted(self._placed(self._read())):
            readings = self._checked(part)
            if not self._faults.count and len(readings):
                yield readings
        self._faults.refuse()
        if not self.count:
            raise LogFileError([(0, "The file has no readings.")])

    def _read(self) -> Iterator[LogPart]:
        for number, block in numbered_blocks(self._source):
            part = self._part(number, block)
            self.count += len(part)
            if self.count > log_lines.MAX_LOG_ROWS:
                line = int(part.lines[log_lines.MAX_LOG_ROWS - self.count])
                told = f"The file has more than {log_lines.MAX_LOG_ROWS:,} rows. Send it in parts."
                raise LogFileError([(line, told)])
            if len(part):
                yield part

    def _part(self, number: int, block: str) -> LogPart:
        skipped = self._mapping.first_line - number
        if skipped > 0:
            lines = log_lines.lines_of(block)
            number, block = self._mapping.first_line, "\n".join(lines[skipped:])
        part = plain_part(number, block, self._mapping, self._started_at)
        if part is not None:
            return part
        for line_number, line in telling_lines(number, log_lines.lines_of(block)):
            self._reader.read(line_number, line)
        rows, self._reader.rows = self._reader.rows, []
        return part_of(rows, self._roles)

    def _placed(self, parts: Iterator[LogPart]) -> Iterator[LogPart]:
        """Put local times into UTC; lines of the two odd nights wait for those around them."""
        waiting: list[LogPart] = []
        for part in parts:
            offset_us = self._one_offset_us(part)
            if offset_us is None:
                waiting.append(part)
                continue
            if waiting:
                yield from self._placed_with_care(joined_parts(waiting))
                waiting = []
            yield part.placed_at(np.where(part.is_local, part.at_us - offset_us, part.at_us))
        if waiting:
            yield from self._placed_with_care(joined_parts(waiting))

    def _one_offset_us(self, part: LogPart) -> int | None:
        """The offset from UTC of a part's local times, when it is the same for all of them."""
        if not part.is_local.any():
            return 0
        local_us = part.at_us[part.is_local]
        first_us, last_us = int(local_us.min()), int(local_us.max())
        if last_us - first_us > CLOCK_SPAN_MAX_US:
            return None
        around = (
            EPOCH + first_us * MICROSECOND - CLOCK_MARGIN,
            EPOCH + last_us * MICROSECOND + CLOCK_MARGIN,
        )
        offsets = {
            at.replace(tzinfo=self._zone, fold=f).utcoffset() for at in around for f in (0, 1)
        }
        offset = offsets.pop()
        return None if offsets or offset is None else offset // MICROSECOND

    def _placed_with_care(self, part: LogPart) -> Iterator[LogPart]:
        """A part in UTC, or nothing when some of its times have no place: that is a fault."""
        in_order, told = not self._sorts, self._faults.count
        placed, warnings = placed_in_zone(part.moments(), self._zone, self._faults, in_order)
        self.warnings += warnings
        if self._faults.count == told:
            yield part.placed_at(np.array([us_of(at) for at in placed], dtype=np.int64))

    def _sorted(self, parts: Iterator[LogPart]) -> Iterator[LogPart]:
        """In order of time: asked for, or else a fault where it is not so."""
        if not self._sorts:
            for part in parts:
                self._check_order(part)
                yield part
            return
        gathered: list[LogPart] = []
        for part in parts:
            gathered.append(part)
            if self.count > SORTED_ROWS_MAX:
                told = (
                    f"A file of more than {SORTED_ROWS_MAX:,} rows is not sorted here: sort it "
                    "by time before you send it, or send it in parts."
                )
                raise LogFileError([(int(part.lines[-1]), told)])
        if gathered:
            whole = joined_parts(gathered)
            order = np.argsort(whole.at_us, kind="stable")
            self._check_order(whole.pick(order), is_sorted=True)
            yield whole.pick(order)

    def _check_order(self, part: LogPart, *, is_sorted: bool = False) -> None:
        """A time that comes twice, and one earlier than that of the line before."""
        last_us = self._last[0] if self._last else part.at_us[0] - 1
        steps = np.diff(part.at_us, prepend=last_us)
        if (steps > 0).all():
            self._last = (int(part.at_us[-1]), int(part.lines[-1]))
            return
        seen = dict([self._last]) if self._last else {}
        before = self._last
        for at_us, line in zip(part.at_us.tolist(), part.lines.tolist(), strict=True):
            if at_us in seen:
                self._faults.add(line, f"The time is the same as on line {seen[at_us]}.")
            elif before is not None and at_us < before[0] and not is_sorted:
                told = f"The time is earlier than on line {before[1]}. "
                self._faults.add(line, f"{told}Sort the file, or ask for it to be sorted.")
            seen.setdefault(at_us, line)
            before = (at_us, line)
        self._last = before

    def _checked(self, part: LogPart) -> ReadingColumns:
        """A part as readings; what cannot be true is a fault."""
        values = dict(part.values)
        fixed_c = self._mapping.cold_junction_c
        junction_c = values.pop(COLD_JUNCTION, np.array(0.0 if fixed_c is None else fixed_c))
        for column in self._mapping.columns:
            if column.unit in EMF_UNITS:
                name, kind = FIELD_OF_ROLE[column.role], column.unit[-1]
                emf, values[name] = values[name], temp_from_emf_c(values[name], kind, junction_c)
                for place in np.flatnonzero(np.isnan(values[name]) & ~np.isnan(emf)).tolist():
                    told = f"{emf[place]:g} mV is no voltage of a type {kind} thermocouple here."
                    self._faults.add(int(part.lines[place]), told)
                    values[name][place] = 0.0
        there = {n: v for n, v in values.items() if n == "temp_c" or not np.isnan(v).all()}
        readings = ReadingColumns(part.at_us, there)
        for place in impossible_places(readings).tolist():
            for problem in check_reading(readings[place]):
                told = f"{problem[:1].upper()}{problem[1:]}."
                self._faults.add(int(part.lines[place]), told)
        self._check_register(part)
        return readings

    def _check_register(self, part: LogPart) -> None:
        """A meter only counts up; one that falls was changed, or is another meter."""
        column, counts = self._mapping.column("register"), part.values.get("register_wh")
        if column is None or counts is None or np.isnan(counts).all():
            return
        there = ~np.isnan(counts)
        counts, lines = counts[there], part.lines[there]
        if self._register is not None:
            counts = np.concatenate(([self._register[0]], counts))
            lines = np.concatenate(([self._register[1]], lines))
        scale = 1000 if column.unit == "kWh" else 1
        for place in (np.flatnonzero(np.diff(counts) < 0) + 1).tolist():
            self._faults.add(
                int(lines[place]),
                f"The meter runs backwards: {counts[place] / scale:g} {column.unit}, after "
                f"{counts[place - 1] / scale:g} {column.unit} on line {lines[place - 1]}.",
            )
        self._register = (float(counts[-1]), int(lines[-1]))


def check_mapping(mapping: ColumnMapping, started_at: datetime | None) -> None:
    """Raise LogFileError when the mapping lacks what every log must have."""
    if started_at is not None and started_at.utcoffset() is None:
        raise ValueError(f"started_at must be aware, got {started_at.isoformat()}")
    roles = {column.role for column in mapping.columns}
    missing = []
    if not roles & {"time", "elapsed"} and not {"date", "clock"} <= roles:
        missing.append("the time (or a date and a clock time, or the time since the start)")
    if "temp" not in roles:
        missing.append("the temperature")
    if missing:
        raise LogFileError([(0, f"Say which column holds {' and which '.join(missing)}.")])
    if time_role(mapping) == "elapsed" and started_at is None:
        raise LogFileError(
            [(0, "The file counts from the start of the firing: say when the firing started.")]
        )
    has_emf = any(column.unit in EMF_UNITS for column in mapping.columns)
    if has_emf and COLD_JUNCTION not in roles and mapping.cold_junction_c is None:
        raise LogFileError(
            [
                (
                    0,
                    "The file has millivolts: choose the column of the cold junction's "
                    "temperature, or say what it was.",
                )
            ]
        )
