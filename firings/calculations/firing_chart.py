"""What a firing's chart shades: the stages as bands of temperature over a span of time."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from firings.calculations.firing_stages import (
    BANDS,
    BURN_OFF,
    DRYING,
    QUARTZ_C,
    QUARTZ_HALF_WIDTH_C,
    TOP,
    TOP_C,
)

QUARTZ = "quartz"


@dataclass(frozen=True)
class StageBand:
    """A stage between two temperatures in C; `until_at` is None where it is not over by time.

    Quartz inverts on the way up and on the way down, so its band runs on.
    """

    name: str
    low_c: float
    high_c: float
    from_at: datetime
    until_at: datetime | None


def stage_bands(
    started_at: datetime, top_c: float, peak_at: datetime | None
) -> tuple[StageBand, ...]:
    """Return the stages that a firing to `top_c` goes through, see firing_stages.py.

    top_c is the peak, or what is aimed at while the kiln still climbs. peak_at is when it was
    past its peak; None while it climbs. Raises ValueError for a peak before the start.
    """
    if peak_at is not None and peak_at < started_at:
        raise ValueError(f"peak_at {peak_at} lies before started_at {started_at}")
    heating = [
        StageBand(band.name, max(band.low_c, 0.0), band.high_c, started_at, peak_at)
        for band in BANDS
        if band.name in (DRYING, BURN_OFF)
    ]
    low_c, high_c = QUARTZ_C - QUARTZ_HALF_WIDTH_C, QUARTZ_C + QUARTZ_HALF_WIDTH_C
    quartz = StageBand(QUARTZ, low_c, high_c, started_at, None)
    top = StageBand(TOP, top_c - TOP_C, top_c, started_at, None)
    return tuple(band for band in (*heating, quartz, top) if band.low_c < top_c)
