"""Readings as meters and loggers publish them: JSON messages, several of which may make one.

A mapping says where in a message which value stands, as a path such as `sensor.temp` or
`channels[0].value`; an empty path is a message that is nothing but a number.
"""

import json
import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from firings.calculations.readings import Reading, check_reading

MESSAGE_BYTES_MAX = 64 * 1024
# A meter's power belongs to the next temperature when it is no older. Ours, no source.
JOINED_WITHIN = timedelta(minutes=5)
TEMPERATURE_UNITS = ("C", "F")
UNITS_OF_FIELD: dict[str, tuple[str, ...]] = {
    **dict.fromkeys(
        ("temp_c", "zone2_c", "zone3_c", "set_point_c", "room_c", "control_box_c"),
        TEMPERATURE_UNITS,
    ),
    "power_w": ("W", "kW"),
    "duty": ("fraction", "percent"),
    "register_wh": ("Wh", "kWh"),
}
TIME_UNITS = ("iso", "unix_s", "unix_ms")
_FACTORS = {"W": 1, "kW": 1000, "Wh": 1, "kWh": 1000, "fraction": 1, "percent": 0.01, "C": 1}
_STEP = re.compile(r"\.?([^.\[\]]+)|\[(\d+)\]")


@dataclass(frozen=True, slots=True)
class FieldPath:
    """Where a value of a reading stands in a message, and in which unit."""

    field: str
    path: str
    unit: str

    def __post_init__(self) -> None:
        if self.field not in UNITS_OF_FIELD:
            known = ", ".join(UNITS_OF_FIELD)
            raise ValueError(f"field must be one of {known}, got {self.field!r}")
        if self.unit not in UNITS_OF_FIELD[self.field]:
            units = " or ".join(UNITS_OF_FIELD[self.field])
            raise ValueError(f"the unit of {self.field} must be {units}, got {self.unit!r}")
        check_path(self.path)


@dataclass(frozen=True, slots=True)
class MessageMapping:
    """How the messages of one topic are read. Without `time_path` the time of arrival counts."""

    fields: tuple[FieldPath, ...]
    time_path: str = ""
    time_unit: str = "iso"

    def __post_init__(self) -> None:
        if not self.fields:
            raise ValueError("say where at least one value stands in the message")
        names = [one.field for one in self.fields]
        if len(set(names)) < len(names):
            raise ValueError("each value may be named once only")
        if self.time_unit not in TIME_UNITS:
            raise ValueError(f"time_unit must be one of {', '.join(TIME_UNITS)}")
        check_path(self.time_path)


@dataclass(frozen=True, slots=True)
class Message:
    """What one message told: values in C, W, Wh and fractions, at one moment."""

    at: datetime
    values: Mapping[str, float]


def check_path(path: str) -> None:
    """Raise ValueError for a path that cannot be followed, such as `a..b` or `a[x]`."""
    if path and not re.fullmatch(r"(\[\d+\]|[^.\[\]]+)(\.[^.\[\]]+|\[\d+\])*", path):
        raise ValueError(f"{path!r} is no path such as sensor.temp or channels[0].value")


def read_message(payload: bytes, mapping: MessageMapping, arrived_at: datetime) -> Message:
    """Read one message. Values that it does not hold, or holds as null, are left out.

    Raises ValueError for what is no JSON, too long, holds none of the values, or holds one that
    is no number, or a time that is none.
    """
    if len(payload) > MESSAGE_BYTES_MAX:
        raise ValueError(f"the message has {len(payload)} bytes; {MESSAGE_BYTES_MAX} are the most")
    try:
        document = json.loads(payload)
    except (ValueError, RecursionError):
        raise ValueError(f"the message is no JSON: {payload[:60]!r}") from None
    values = {}
    for one in mapping.fields:
        found = _at(document, one.path)
        if found is not None:
            values[one.field] = _stored(_number(one.path, found), one.unit)
    if not values:
        paths = ", ".join(one.path or "a bare number" for one in mapping.fields)
        raise ValueError(f"the message holds nothing at {paths}")
    told_at = _at(document, mapping.time_path) if mapping.time_path else None
    at = arrived_at if told_at is None else _moment(told_at, mapping.time_unit)
    return Message(at, values)


class JoinedReadings:
    """Makes readings of a kiln's messages: one for each temperature, with what else is fresh."""

    def __init__(self) -> None:
        self._latest: dict[str, tuple[datetime, float]] = {}

    def join(self, message: Message) -> Reading | None:
        """The reading that a message completes; None when it brings no temperature.

        Raises ValueError when the reading cannot be true.
        """
        for field, value in message.values.items():
            self._latest[field] = (message.at, value)
        if "temp_c" not in message.values:
            return None
        fresh = {
            field: value
            for field, (at, value) in self._latest.items()
            if abs(message.at - at) <= JOINED_WITHIN
        }
        reading = Reading(at=message.at, **fresh)
        problems = check_reading(reading)
        if problems:
            for field in message.values:
                del self._latest[field]
            raise ValueError(problems[0])
        return reading


def _at(document: Any, path: str) -> Any:
    """What stands at a path; None when nothing does."""
    for key, index in _STEP.findall(path):
        if index:
            is_there = isinstance(document, list) and int(index) < len(document)
            document = document[int(index)] if is_there else None
        else:
            document = document.get(key) if isinstance(document, dict) else None
    return document


def _number(path: str, value: Any) -> float:
    if isinstance(value, str):
        try:
            value = float(value)
        except ValueError:
            raise ValueError(f"{path} is {value[:40]!r}, not a number") from None
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(f"{path or 'the message'} is {str(value)[:40]}, not a number")
    return float(value)


def _stored(value: float, unit: str) -> float:
    return (value - 32) / 1.8 if unit == "F" else value * _FACTORS[unit]


def _moment(told: Any, unit: str) -> datetime:
    try:
        if unit == "iso":
            moment = datetime.fromisoformat(told)
        else:
            seconds = float(told) / (1000 if unit == "unix_ms" else 1)
            moment = datetime.fromtimestamp(seconds, UTC)
    except (TypeError, ValueError, OverflowError, OSError):
        raise ValueError(f"the time {str(told)[:40]!r} cannot be read") from None
    if moment.utcoffset() is None:
        raise ValueError(f"the time {told} has no time zone: publish UTC, or the offset with it")
    return moment.astimezone(UTC)
