"""The watch over room and control box, at the limits of a kiln room guide: control faults above
100 F, a board that cuts out at 160 F."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from firings.calculations.heat_watch import too_hot
from firings.calculations.readings import Reading

ROOM_C, BOX_C = (100 - 32) / 1.8, (160 - 32) / 1.8


@pytest.mark.parametrize(
    ("room_c", "control_box_c", "found"),
    [
        (None, None, []),
        (ROOM_C, BOX_C - 1, []),
        (ROOM_C + 1, BOX_C, ["room", "control_box"]),
        (None, BOX_C + 1, ["control_box"]),
    ],
)
def test_a_room_above_and_a_box_at_its_limit_are_too_hot(room_c, control_box_c, found):
    at = datetime(2026, 2, 3, 7, tzinfo=UTC)
    reading = Reading(at, 900.0, room_c=room_c, control_box_c=control_box_c)
    hot = too_hot(reading, room_limit_c=ROOM_C, control_box_limit_c=BOX_C)
    assert [one.what for one in hot] == found
    assert all(one.temp_c >= one.limit_c for one in hot)
