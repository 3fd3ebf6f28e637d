"""When a booking that waits will be fired: in which coming load, about when, within what band.

A queue is worked off load by load. A booking goes in the first load that has room for what waits
before it and for itself: runs = ceil((area before me + mine) / area of a load). Loads follow each
other at the intervals of the past; the band comes from resampling those, so it is as wide as the
studio is irregular. Times are in days from now.

Source: the batch queue of W. J. Hopp and M. L. Spearman, Factory Physics, chapter 9 (process
batches); the check by J. D. C. Little, "A proof for the queuing formula L = lambda W", Operations
Research 9 (1961) 383-387.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

# Half of all outcomes lie in the inner band, nine of ten in the outer.
INNER, OUTER = (0.25, 0.75), (0.05, 0.95)
DRAWS = 400
# Ware that is not dry yet lets so many loads pass at most.
LOADS_FOR_WET_WARE = 20
SEED = 11


@dataclass(frozen=True, slots=True)
class QueuedWare:
    """One booking in its queue. `ready_in_days`: until it is dry; 0 or less is dry now."""

    id: str
    area_mm2: int
    ready_in_days: float


@dataclass(frozen=True, slots=True)
class Forecast:
    """One booking's load and time. `load` is 1 for the next load of its queue.

    `likely_days`: from and to, in which half of all outcomes lie; `band_days`: nine of ten.
    """

    id: str
    load: int
    likely_days: tuple[float, float]
    band_days: tuple[float, float]


def forecast_queue(
    queue: Sequence[QueuedWare],
    *,
    load_area_mm2: float,
    past_intervals_days: Sequence[float],
    next_in_days: float | None,
) -> tuple[Forecast, ...]:
    """A forecast for each booking, in the order of `queue`: first come, first served.

    `load_area_mm2`: what a load of this queue takes, as past loads show. `past_intervals_days`:
    days between the past loads of this queue. `next_in_days`: until its next planned load, None
    when none is planned; then half an interval is expected to pass first. Adding a booking ahead
    never makes a forecast earlier. Raises ValueError for a load without area, no interval, or one
    that is not above 0.
    """
    if load_area_mm2 <= 0:
        raise ValueError(f"load_area_mm2 must be above 0, got {load_area_mm2}")
    if not past_intervals_days or min(past_intervals_days) <= 0:
        raise ValueError(f"past_intervals_days must be above 0, got {list(past_intervals_days)}")
    loads = _loads(queue, load_area_mm2)
    times = _times(max(loads, default=0), past_intervals_days, next_in_days)
    return tuple(_forecast(ware, load, times) for ware, load in zip(queue, loads, strict=True))


def _loads(queue: Sequence[QueuedWare], load_area_mm2: float) -> list[int]:
    before_mm2, loads = 0, []
    for ware in queue:
        before_mm2 += ware.area_mm2
        loads.append(max(1, math.ceil(before_mm2 / load_area_mm2)))
    return loads


def _times(loads: int, intervals: Sequence[float], next_in_days: float | None) -> list[list[float]]:
    """For each draw, the days until the first, second, ... load.

    The same draws serve every booking and every queue, so that a later load is later in each.
    """
    drawn = []
    for number in range(DRAWS):
        dice = Random(f"{SEED} {number}")  # noqa: S311
        # Somewhere within an interval, when nothing is planned.
        first = dice.random() * dice.choice(intervals)
        at = first if next_in_days is None else max(0.0, next_in_days)
        row = []
        for _ in range(loads + LOADS_FOR_WET_WARE):
            row.append(at)
            at += dice.choice(intervals)
        drawn.append(row)
    return drawn


def _forecast(ware: QueuedWare, load: int, times: list[list[float]]) -> Forecast:
    """Ware that is not dry for its load goes into the first one after it is."""
    outcomes = []
    for row in times:
        at = next((day for day in row[load - 1 :] if day >= ware.ready_in_days), row[-1])
        outcomes.append(max(at, ware.ready_in_days))
    outcomes.sort()
    band = tuple(_quantile(outcomes, share) for share in OUTER)
    likely = tuple(_quantile(outcomes, share) for share in INNER)
    return Forecast(ware.id, load, (likely[0], likely[1]), (band[0], band[1]))


def _quantile(ordered: Sequence[float], share: float) -> float:
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def little_days(waiting_mean: float, arrivals_per_day: float) -> float:
    """The mean wait in days that a long-run mean of what waits implies: W = L / lambda."""
    if arrivals_per_day <= 0:
        raise ValueError(f"arrivals_per_day must be above 0, got {arrivals_per_day}")
    if waiting_mean < 0:
        raise ValueError(f"waiting_mean must be 0 or more, got {waiting_mean}")
    return waiting_mean / arrivals_per_day
