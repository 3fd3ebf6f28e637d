"""The stages of a firing: how long it was in each, and how fast it went through.

Drying is what is below 120 C on the way up: water boils at 100 C, and clay lags behind the air
around it (common practice, no source). Burn-off is 260 to 650 C: organic matter and combined water
leave; sources disagree about the limits. Quartz inverts at 573 C (Bartolovic & Zakin, Electric
Kiln Ceramics, 4th ed.), taken here with 20 C on either side, on the way up and on the way down.
The top is what is within 100 C of the peak: a cone answers to the rate of its last 100 C (Orton).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from firings.calculations.reading_columns import Floats

DRYING, BURN_OFF, QUARTZ_UP, QUARTZ_DOWN, TOP = (
    "drying",
    "burn_off",
    "quartz_heating",
    "quartz_cooling",
    "top",
)
QUARTZ_C = 573.0
QUARTZ_HALF_WIDTH_C = 20.0
TOP_C = 100.0
# So far below the peak a kiln is on its way down. Common practice, no source.
COOLS_BELOW_PEAK_C = 50.0
LEVEL_C = 10


class _Band(NamedTuple):
    name: str
    low_c: float
    high_c: float
    is_cooling: bool


BANDS = (
    _Band(DRYING, -1e9, 120.0, is_cooling=False),
    _Band(BURN_OFF, 260.0, 650.0, is_cooling=False),
    _Band(
        QUARTZ_UP, QUARTZ_C - QUARTZ_HALF_WIDTH_C, QUARTZ_C + QUARTZ_HALF_WIDTH_C, is_cooling=False
    ),
    _Band(
        QUARTZ_DOWN, QUARTZ_C - QUARTZ_HALF_WIDTH_C, QUARTZ_C + QUARTZ_HALF_WIDTH_C, is_cooling=True
    ),
)


@dataclass(frozen=True)
class StageTime:
    """Seconds in a stage, and the mean rate there in C per hour; None when it was not gone through
    or nobody knows. Cooling rates are negative."""

    name: str
    seconds: float
    rate_c_per_h: float | None


def add_stages(
    stages: dict[str, tuple[float, float]],
    seconds: Floats,
    start_c: Floats,
    end_c: Floats,
    peak_c: Floats,
) -> dict[str, tuple[float, float]]:
    """Return (seconds, degrees) of each band with steps added.

    Temperature is straight in a step; `peak_c` is the peak up to its end, which says whether the
    kiln is on its way up or down.
    """
    low_c, high_c = np.minimum(start_c, end_c), np.maximum(start_c, end_c)
    width_c = np.where(high_c > low_c, high_c - low_c, 1.0)
    is_cooling = end_c < peak_c - COOLS_BELOW_PEAK_C
    found = dict(stages)
    for band in BANDS:
        inside_c = np.minimum(high_c, band.high_c) - np.maximum(low_c, band.low_c)
        level = (high_c == low_c) & (low_c >= band.low_c) & (low_c < band.high_c)
        share = np.where(level, 1.0, np.clip(inside_c, 0.0, None) / width_c)
        share = np.where(is_cooling == band.is_cooling, share, 0.0)
        before_s, before_c = found.get(band.name, (0.0, 0.0))
        found[band.name] = (
            before_s + float((share * seconds).sum()),
            before_c + float((share * (end_c - start_c)).sum()),
        )
    return found


def add_climb(
    climb: dict[int, float], elapsed_s: Floats, temp_c: Floats, peak_c: float
) -> dict[int, float]:
    """Return when each level of 10 C was first reached, in seconds since the first reading.

    The first of the new readings is the last one added before; `peak_c` is the peak up to it.
    """
    if not len(temp_c) or temp_c.max() <= peak_c:
        return climb
    highest = np.maximum(np.maximum.accumulate(temp_c), peak_c)
    first = int(peak_c // LEVEL_C) + 1
    levels = np.arange(first, int(highest[-1] // LEVEL_C) + 1) * LEVEL_C
    places = np.searchsorted(highest, levels)
    before = np.maximum(places - 1, 0)
    rise_c = temp_c[places] - temp_c[before]
    share = np.where(rise_c > 0, (levels - temp_c[before]) / np.where(rise_c > 0, rise_c, 1), 1.0)
    reached = elapsed_s[before] + share * (elapsed_s[places] - elapsed_s[before])
    return climb | dict(zip(levels.tolist(), reached.tolist(), strict=True))
