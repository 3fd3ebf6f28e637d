"""A log kept short for drawing: of each stretch of time the readings that show its shape.

A log is cut by the clock into stretches of one width: 15 seconds, doubled until there are at most
1,000 of them. Of each stretch its first, coolest, hottest and last reading are kept. Stretches of
half the width merge into those of the double one, and a late reading joins its own, in whatever
order readings come; so the readings kept are those that the whole log would give, and they are
kept up to date without reading it. For a picture they are thinned once more by MinMaxLTTB (Van
Der Donckt and others, MinMaxLTTB, 2023), which keeps the shape, and the peak and the dip stay.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

import numpy as np
from tsdownsample import MinMaxLTTBDownsampler

from firings.calculations.reading_columns import (
    US_PER_S,
    VALUE_FIELDS,
    Floats,
    Ints,
    ReadingColumns,
    joined,
)

WIDTH_MIN_US = 15 * US_PER_S
STRETCHES_MAX = 1_000
POINTS_MIN = 6


def width_us(first_us: int, last_us: int) -> int:
    """Return the width of the stretches of a log with these ends, in microseconds."""
    width = WIDTH_MIN_US
    while (last_us - first_us) // width >= STRETCHES_MAX:
        width *= 2
    return width


def shape_of(columns: ReadingColumns, width: int) -> ReadingColumns:
    """Return the readings that show the shape of each stretch, in order of time.

    The readings given must be in order of time too.
    """
    if not len(columns):
        return columns
    numbers = columns.at_us // width
    firsts = np.flatnonzero(np.concatenate(([True], np.diff(numbers) != 0)))
    lasts = np.append(firsts[1:], len(numbers)) - 1
    by_heat = np.lexsort((columns.values["temp_c"], numbers))
    # Sorted by stretch and then by heat, the coolest and hottest stand where its ends stood.
    kept = np.unique(np.concatenate((firsts, lasts, by_heat[firsts], by_heat[lasts])))
    return columns.pick(kept)


def points_by_stretch(columns: ReadingColumns, width: int) -> dict[int, list[list[Any]]]:
    """Return stretch start in microseconds -> its points, for JSON: see `columns_of_points`."""
    rows = zip(
        columns.at_us.tolist(),
        *(
            columns.known(name) if name in columns.values else [None] * len(columns)
            for name in VALUE_FIELDS
        ),
        strict=True,
    )
    found: dict[int, list[list[Any]]] = {}
    for row in rows:
        found.setdefault(row[0] // width * width, []).append(list(row))
    return found


def columns_of_points(stretches: Sequence[Sequence[Sequence[Any]]]) -> ReadingColumns:
    """Return the points of stretches as readings: [microseconds, then each field of a reading]."""
    rows = [row for points in stretches for row in points]
    if not rows:
        return ReadingColumns.of([])
    at_us = np.array([row[0] for row in rows], dtype=np.int64)
    table = np.array([row[1:] for row in rows], dtype=np.float64)
    values = {
        name: table[:, place]
        for place, name in enumerate(VALUE_FIELDS)
        if name == "temp_c" or not np.isnan(table[:, place]).all()
    }
    return ReadingColumns(at_us, values)


def merged(kept: ReadingColumns, added: ReadingColumns, width: int) -> ReadingColumns:
    """Return the shape of readings kept before and readings added, in stretches of one width."""
    if not len(kept):
        return shape_of(added, width)
    return shape_of(joined([kept, added]).in_order(), width)


def thinned(columns: ReadingColumns, points_max: int) -> ReadingColumns:
    """Return at most `points_max` of the readings, in order, for drawing their temperature.

    First, last, coolest and hottest stay. Raises ValueError when `points_max` is below 6.
    """
    places = thinned_places(columns.at_us, columns.values["temp_c"], points_max)
    return columns.pick(places)


def thinned_places(at: Floats | Ints, values: Floats, points_max: int) -> Ints:
    """Return the places of at most `points_max` points of a line that keep its shape."""
    if points_max < POINTS_MIN:
        raise ValueError(f"points_max must be {POINTS_MIN} or more, not {points_max!r}")
    if len(values) <= points_max:
        return np.arange(len(values))
    x = np.ascontiguousarray(at, dtype=np.float64)
    y = np.ascontiguousarray(values, dtype=np.float64)
    # Its types are not declared.
    thin: Any = MinMaxLTTBDownsampler
    places = thin().downsample(x, y, n_out=points_max - 2)
    ends = [0, len(y) - 1, int(y.argmin()), int(y.argmax())]
    return cast("Ints", np.unique(np.concatenate((places.astype(np.int64), ends))))
