"""The stages of a firing in words: how long it was in each, and how fast it went through."""

from __future__ import annotations

from typing import NamedTuple

from firings.calculations.firing_stages import (
    BURN_OFF,
    DRYING,
    QUARTZ_DOWN,
    QUARTZ_UP,
    TOP,
)
from firings.calculations.firing_summary import FiringSummary

STAGE_WORDS = {
    DRYING: "Drying",
    BURN_OFF: "Burn-off",
    QUARTZ_UP: "Quartz inversion, heating",
    QUARTZ_DOWN: "Quartz inversion, cooling",
    TOP: "Top",
}
# Where each begins and ends, in C; the top has its limit from the peak.
STAGE_LIMITS_C = {
    DRYING: (None, 120.0),
    BURN_OFF: (260.0, 650.0),
    QUARTZ_UP: (553.0, 593.0),
    QUARTZ_DOWN: (553.0, 593.0),
}


class StageRow(NamedTuple):
    """One line of the table; `from_c` and `to_c` are None where there is no limit."""

    name: str
    seconds: float
    rate_c_per_h: float | None
    from_c: float | None
    to_c: float | None


def stage_rows(summary: FiringSummary) -> list[StageRow]:
    """The stages gone through so far."""
    rows = []
    for stage in summary.stages():
        from_c, to_c = STAGE_LIMITS_C.get(stage.name, (None, None))
        if stage.name == TOP and summary.peak_c is not None:
            from_c, to_c = summary.peak_c - 100, summary.peak_c
        rows.append(
            StageRow(STAGE_WORDS[stage.name], stage.seconds, stage.rate_c_per_h, from_c, to_c)
        )
    return rows
