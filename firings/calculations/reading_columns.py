"""Many readings at once, as columns of numbers: what makes long logs quick to take in.

Times are whole microseconds since 1970 in UTC, values are floats, NaN stands for "not there".
It is also a sequence of readings, each made when somebody asks for it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, cast, overload

import numpy as np
import numpy.typing as npt

from firings.calculations.readings import RANGES, Reading, check_reading

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
MICROSECOND = timedelta(microseconds=1)
US_PER_S = 1_000_000
VALUE_FIELDS: tuple[str, ...] = tuple(name for name in Reading.__dataclass_fields__ if name != "at")


def us_of(at: datetime) -> int:
    """Return an aware moment as microseconds since 1970."""
    return (at - EPOCH) // MICROSECOND


def moment_of(at_us: int) -> datetime:
    """Return microseconds since 1970 as a moment in UTC."""
    return EPOCH + int(at_us) * MICROSECOND


@dataclass(frozen=True, eq=False)
class ReadingColumns(Sequence[Reading]):
    """Readings as columns of equal length; fields that no reading has are left out.

    at_us: microseconds since 1970. values: field of `Reading` -> its column, NaN for None;
    temp_c is always there.
    """

    at_us: Ints
    values: Mapping[str, Floats]

    @classmethod
    def of(cls, readings: Iterable[Reading]) -> ReadingColumns:
        """Return readings as columns, in the order given. Raises ValueError for naive times."""
        kept = list(readings)
        naive = next((reading for reading in kept if reading.at.utcoffset() is None), None)
        if naive is not None:
            raise ValueError(f"readings must have aware times, got {naive.at.isoformat()}")
        columns = {}
        for name in VALUE_FIELDS:
            column = np.array([getattr(reading, name) for reading in kept], dtype=np.float64)
            if name == "temp_c" or not np.isnan(column).all():
                columns[name] = column
        return cls(np.array([us_of(reading.at) for reading in kept], dtype=np.int64), columns)

    def __len__(self) -> int:
        return len(self.at_us)

    @overload
    def __getitem__(self, index: int) -> Reading: ...
    @overload
    def __getitem__(self, index: slice) -> ReadingColumns: ...
    def __getitem__(self, index: int | slice) -> Reading | ReadingColumns:
        if isinstance(index, slice):
            return self.pick(index)
        values = {name: _known(column[index]) for name, column in self.values.items()}
        temp_c = values.pop("temp_c")
        at = moment_of(self.at_us[index])
        return Reading(at, math.nan if temp_c is None else temp_c, **values)

    def __iter__(self) -> Iterator[Reading]:
        columns = {name: self.known(name) for name in self.values}
        names, rows = tuple(columns), zip(*columns.values(), strict=True)
        for at_us, row in zip(self.at_us.tolist(), rows, strict=True):
            fields = dict(zip(names, row, strict=True))
            yield Reading(moment_of(at_us), **fields)

    def pick(self, index: slice | npt.NDArray[Any]) -> ReadingColumns:
        """Return some of the readings: a slice, a mask or a list of places."""
        picked = {name: column[index] for name, column in self.values.items()}
        return ReadingColumns(self.at_us[index], picked)

    def known(self, name: str) -> list[Any]:
        """Return a column with None for what is not there."""
        column = self.values[name]
        missing = np.isnan(column)
        if not missing.any():
            return cast("list[Any]", column.tolist())
        found = column.astype(object)
        found[missing] = None
        return cast("list[Any]", found.tolist())

    def at_most_every(self, seconds: float) -> ReadingColumns:
        """Return the first reading of each such stretch of the clock, and the very last one.

        For readings in order of time; those that stand further apart are all left in.
        """
        numbers = self.at_us // round(seconds * US_PER_S)
        kept = np.diff(numbers, prepend=numbers[:1] - 1) != 0
        kept[-1:] = True
        return self if kept.all() else self.pick(kept)

    def in_order(self) -> ReadingColumns:
        """Return the readings from early to late."""
        if (np.diff(self.at_us) > 0).all():
            return self
        return self.pick(np.argsort(self.at_us, kind="stable"))


def _known(value: np.float64) -> float | None:
    return None if math.isnan(value) else float(value)


def joined(parts: Sequence[ReadingColumns]) -> ReadingColumns:
    """Return several lots of readings as one, one after the other."""
    if len(parts) == 1:
        return parts[0]
    names = dict.fromkeys(name for part in parts for name in part.values)
    values = {
        name: np.concatenate(
            [part.values.get(name, np.full(len(part), math.nan)) for part in parts]
        )
        for name in names
    }
    return ReadingColumns(np.concatenate([part.at_us for part in parts]), values)


def first_impossible(columns: ReadingColumns) -> tuple[int, str] | None:
    """Return where the first reading that cannot be true stands, and what is wrong with it."""
    index = next(iter(impossible_places(columns)), None)
    return None if index is None else (int(index), check_reading(columns[int(index)])[0])


def impossible_places(columns: ReadingColumns) -> Ints:
    """Return the places of readings that cannot be true; see `check_reading`."""
    wrong = np.zeros(len(columns), dtype=bool)
    for name, _, low, high, _ in RANGES:
        column = columns.values.get(name)
        if column is not None:
            outside = ~((column >= low) & (column <= high))
            wrong |= outside if name == "temp_c" else outside & ~np.isnan(column)
    return np.flatnonzero(wrong)
