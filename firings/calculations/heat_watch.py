"""The watch over what is around a kiln: its room, and the box with its controls."""

from __future__ import annotations

from typing import Literal, NamedTuple

from firings.calculations.readings import Reading

Watched = Literal["room", "control_box"]


class TooHot(NamedTuple):
    """What was too hot, how hot, and its limit, in C."""

    what: Watched
    temp_c: float
    limit_c: float

    @property
    def name(self) -> str:
        """What it is called at the beginning of a sentence."""
        return "The room" if self.what == "room" else "The control box"


def too_hot(reading: Reading, *, room_limit_c: float, control_box_limit_c: float) -> list[TooHot]:
    """What is too hot in one reading: a room above its limit, a control box that reaches its own.

    Where the limits come from stands beside their defaults, in the firing policy.
    """
    found = []
    if reading.room_c is not None and reading.room_c > room_limit_c:
        found.append(TooHot("room", reading.room_c, room_limit_c))
    if reading.control_box_c is not None and reading.control_box_c >= control_box_limit_c:
        found.append(TooHot("control_box", reading.control_box_c, control_box_limit_c))
    return found
