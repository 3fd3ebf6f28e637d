"""The way of a pot or a firing, step by step."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

STEP_WORDS = {"done": "done", "now": "now", "next": "to come", "missed": "the way ended here"}


@dataclass(frozen=True)
class Step:
    """One step: `state` is done, now, next, or missed where the way ended early.

    `at` is the moment it happened, in UTC.
    """

    label: str
    state: str
    at: datetime | None = None
    note: str = ""

    def __post_init__(self) -> None:
        if self.state not in STEP_WORDS:
            raise ValueError(f"state is {self.state!r}: one of {tuple(STEP_WORDS)}")

    @property
    def words(self) -> str:
        """What a screen reader says about the step."""
        return STEP_WORDS[self.state]
