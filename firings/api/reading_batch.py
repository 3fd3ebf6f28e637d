"""A batch of readings as JSON, taken in column by column.

Ten thousand readings pass here at once: what is plainly right is read as columns. As soon as
anything is not, reading after reading goes through `MomentSerializer`, which knows what else may
pass and says what is wrong; the answer then names the reading by its place.
"""

from __future__ import annotations

import math
from datetime import datetime
from typing import Any

import numpy as np
from rest_framework import serializers
from rest_framework.utils.serializer_helpers import ReturnDict

from firings.actions.reading_checks import BATCH_MAX
from firings.api.reading_serializers import MomentSerializer
from firings.calculations.reading_columns import (
    VALUE_FIELDS,
    Floats,
    Ints,
    ReadingColumns,
    us_of,
)
from firings.calculations.readings import Reading as Moment

NUMBERS = frozenset((int, float))
NUMBERS_OR_NONE = frozenset((int, float, type(None)))
# What the serializer lets pass: whatever is not within goes there to be told so.
VALUE_MAX = {"power_w": 1e9, "register_wh": 1e12}
VALUE_MIN = {"register_wh": 0.0}
YEAR_1990_US = us_of(datetime.fromisoformat("1990-01-01T00:00:00Z"))


class ReadingListField(serializers.Field[ReadingColumns, Any, Any, Any]):
    """A list of readings; see `MomentSerializer` for one of them."""

    def to_internal_value(self, data: Any) -> ReadingColumns:
        if not isinstance(data, list):
            raise serializers.ValidationError("Expected a list of readings.", code="not_a_list")
        if not data:
            raise serializers.ValidationError("This list may not be empty.", code="empty")
        if len(data) > BATCH_MAX:
            raise serializers.ValidationError(
                f"Ensure this field has no more than {BATCH_MAX} elements.", code="max_length"
            )
        columns = _plain_columns(data)
        return _careful_columns(data) if columns is None else columns

    def to_representation(self, value: ReadingColumns) -> list[ReturnDict]:
        return [MomentSerializer(reading).data for reading in value]


def _plain_columns(rows: list[Any]) -> ReadingColumns | None:
    """The readings as columns when all of them are plainly right, else None."""
    if set(map(type, rows)) != {dict}:
        return None
    names: set[str] = set().union(*rows)
    if not {"at", "temp_c"} <= names or not names <= {"at", *VALUE_FIELDS}:
        return None
    at_us = _plain_times([row.get("at") for row in rows])
    if at_us is None:
        return None
    values: dict[str, Floats] = {}
    for name in VALUE_FIELDS:
        if name in names:
            column = _plain_column(name, [row.get(name) for row in rows])
            if column is None:
                return None
            if name == "temp_c" or not np.isnan(column).all():
                values[name] = column
    return ReadingColumns(at_us, values)


def _plain_times(texts: list[Any]) -> Ints | None:
    try:
        moments = list(map(datetime.fromisoformat, texts))
        if None in {moment.tzinfo for moment in moments}:
            return None
        seconds = np.array([moment.timestamp() for moment in moments])
    except (TypeError, ValueError, OverflowError):
        return None
    # A float of 52 bits holds such seconds to a quarter of a microsecond.
    at_us: Ints = np.rint(seconds * 1e6).astype(np.int64)
    return at_us if at_us.min() >= YEAR_1990_US else None


def _plain_column(name: str, cells: list[Any]) -> Floats | None:
    kinds = set(map(type, cells))
    allowed = NUMBERS if name == "temp_c" else NUMBERS_OR_NONE
    if name == "register_wh":
        allowed = NUMBERS_OR_NONE - {float}
    if not kinds <= allowed:
        return None
    column = np.array(cells, dtype=np.float64)
    largest = VALUE_MAX.get(name, 1e6)
    is_within = (column >= VALUE_MIN.get(name, -largest)) & (column <= largest)
    if not (is_within | (column != column)).all():  # NaN stands for null
        return None
    return column


def _careful_columns(rows: list[Any]) -> ReadingColumns:
    moments = []
    for index, row in enumerate(rows):
        one = MomentSerializer(data=row)
        if not one.is_valid():
            raise serializers.ValidationError({str(index): one.errors})
        moments.append(Moment(**one.validated_data))
        if not math.isfinite(moments[-1].temp_c):
            raise serializers.ValidationError({str(index): {"temp_c": ["A finite number."]}})
    return ReadingColumns.of(moments)
