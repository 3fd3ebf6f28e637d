"""Some lines of a log that have been read: when, and what they hold, before times are placed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np
import numpy.typing as npt

from firings.calculations.log_cells import FIELD_OF_ROLE, Row
from firings.calculations.log_times import LinedMoment
from firings.calculations.reading_columns import EPOCH, MICROSECOND, Floats, Ints, us_of


@dataclass(frozen=True, eq=False)
class LogPart:
    """Lines by number, their times in microseconds, and field -> column, NaN for no value.

    Local times, of a zone not yet said, are told as if they were UTC: `is_local` marks them.
    """

    lines: Ints
    at_us: Ints
    is_local: npt.NDArray[np.bool_]
    values: dict[str, Floats]

    def __len__(self) -> int:
        return len(self.lines)

    def pick(self, places: slice | npt.NDArray[np.bool_] | Ints) -> LogPart:
        """Return some of the lines."""
        values = {name: column[places] for name, column in self.values.items()}
        return LogPart(self.lines[places], self.at_us[places], self.is_local[places], values)

    def placed_at(self, at_us: Ints) -> LogPart:
        """Return the lines with their times in UTC."""
        return LogPart(self.lines, at_us, np.zeros(len(self), dtype=bool), self.values)

    def moments(self) -> list[LinedMoment]:
        """Return the times line by line: local ones without a zone."""
        return [
            LinedMoment(line, _moment(at_us, is_local))
            for line, at_us, is_local in zip(
                self.lines.tolist(), self.at_us.tolist(), self.is_local.tolist(), strict=True
            )
        ]


def _moment(at_us: int, is_local: bool) -> datetime:
    at = EPOCH + at_us * MICROSECOND
    return at.replace(tzinfo=None) if is_local else at


def part_of(rows: Sequence[Row], roles: Sequence[str]) -> LogPart:
    """Return rows that were read with care as a part; `roles` are those the file has."""
    moments = [row.moment.at for row in rows]
    values = {
        FIELD_OF_ROLE[role]: np.array([row.values.get(role) for row in rows], dtype=np.float64)
        for role in roles
    }
    return LogPart(
        np.array([row.moment.line for row in rows], dtype=np.int64),
        np.array(
            [us_of(at.replace(tzinfo=UTC) if at.tzinfo is None else at) for at in moments],
            dtype=np.int64,
        ),
        np.array([at.tzinfo is None for at in moments], dtype=bool),
        values,
    )


def joined_parts(parts: Sequence[LogPart]) -> LogPart:
    """Return parts of one file as one, one after the other."""
    if len(parts) == 1:
        return parts[0]
    names = parts[0].values
    return LogPart(
        np.concatenate([part.lines for part in parts]),
        np.concatenate([part.at_us for part in parts]),
        np.concatenate([part.is_local for part in parts]),
        {name: np.concatenate([part.values[name] for part in parts]) for name in names},
    )
