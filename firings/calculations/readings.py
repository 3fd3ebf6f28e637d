"""What a kiln logger reports at one moment, and whether it can be true."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise

TEMP_C_MIN, TEMP_C_MAX = -50.0, 1500.0
ROOM_C_MIN, ROOM_C_MAX = -50.0, 150.0
POWER_W_MAX = 1_000_000.0
# Between readings further apart than this nobody knows what the kiln did.
GAP_MAX = timedelta(minutes=30)


@dataclass(frozen=True, slots=True)
class Reading:
    """One moment of a firing. `at` is aware; temperatures are C; duty goes from 0 to 1.

    `register_wh` is the electricity meter's counter, not the energy since the last reading.
    """

    at: datetime
    temp_c: float
    zone2_c: float | None = None
    zone3_c: float | None = None
    set_point_c: float | None = None
    power_w: float | None = None
    duty: float | None = None
    register_wh: float | None = None
    room_c: float | None = None
    control_box_c: float | None = None


RANGES: tuple[tuple[str, str, float, float, str], ...] = (
    ("temp_c", "temperature", TEMP_C_MIN, TEMP_C_MAX, "C"),
    ("zone2_c", "temperature of zone 2", TEMP_C_MIN, TEMP_C_MAX, "C"),
    ("zone3_c", "temperature of zone 3", TEMP_C_MIN, TEMP_C_MAX, "C"),
    ("set_point_c", "set point", TEMP_C_MIN, TEMP_C_MAX, "C"),
    ("power_w", "power", 0.0, POWER_W_MAX, "W"),
    ("duty", "duty", 0.0, 1.0, "(a fraction, not a percentage)"),
    ("register_wh", "meter register", 0.0, 1e12, "Wh"),
    ("room_c", "room temperature", ROOM_C_MIN, ROOM_C_MAX, "C"),
    ("control_box_c", "control box temperature", ROOM_C_MIN, ROOM_C_MAX, "C"),
)


def check_reading(reading: Reading) -> list[str]:
    """Return one sentence for each thing in a reading that cannot be true; empty when none.

    The limits are wide: they catch wrong units, wrong columns and broken wires, not odd firings.
    """
    problems = []
    if reading.at.utcoffset() is None:
        problems.append(
            f"time {reading.at.isoformat()} has no time zone: send UTC, or the offset with it"
        )
    for field, name, low, high, unit in RANGES:
        value = getattr(reading, field)
        if value is None and field != "temp_c":
            continue
        if value is None or not math.isfinite(value) or not low <= value <= high:
            problems.append(f"{name} {value!r} is not between {low:,.0f} and {high:,.0f} {unit}")
    return problems


def require_time_order(readings: Sequence[Reading]) -> None:
    """Raise ValueError unless each reading is later than the one before it."""
    for earlier, later in pairwise(readings):
        if later.at <= earlier.at:
            raise ValueError(
                f"readings are out of order: {later.at.isoformat()} "
                f"follows {earlier.at.isoformat()}; sort them by time and drop repeats"
            )
