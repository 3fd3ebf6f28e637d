"""Control charts of single values, and the robust slope of a trend.

Individuals chart: centre line at the mean, limits 3 / 1.128 = 2.66 mean moving ranges away, the
moving range of two neighbours (NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2;
Montgomery,
Introduction to Statistical Quality Control, chapter 6). 1.128 is the expected range of two normal
values in standard deviations.

Slope: the median of the slopes of all pairs (Theil 1950; Sen, J. Am. Stat. Assoc. 63, 1968, 1379),
with limits from the variance of Kendall's S as in Gilbert, Statistical Methods for Environmental
Pollution Monitoring, 1987, 16.5. It stands up to 29 % of wild values.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from statistics import fmean, median

EXPECTED_RANGE_OF_TWO = 1.128
SIGMAS = 3.0
NORMAL_95 = 1.959964


@dataclass(frozen=True)
class ControlChart:
    """Centre line and limits of an individuals chart, and which values lie outside (from 0)."""

    centre: float
    lower: float
    upper: float
    mean_moving_range: float
    outside: tuple[int, ...]


@dataclass(frozen=True)
class Slope:
    """A trend per unit of x, with its 95 % limits, and its value at the middle of x."""

    per_step: float
    lower: float
    upper: float
    middle_x: float
    middle_y: float

    def at(self, x: float) -> float:
        return self.middle_y + self.per_step * (x - self.middle_x)


def individuals_chart(values: Sequence[float]) -> ControlChart:
    """Return the chart of values in order of time. Raises ValueError for fewer than 2."""
    if len(values) < 2:
        raise ValueError(f"values must hold at least 2, not {len(values)}")
    centre = fmean(values)
    mean_moving_range = fmean(abs(after - before) for before, after in pairwise(values))
    reach = SIGMAS * mean_moving_range / EXPECTED_RANGE_OF_TWO
    lower, upper = centre - reach, centre + reach
    outside = tuple(n for n, value in enumerate(values) if not lower <= value <= upper)
    return ControlChart(centre, lower, upper, mean_moving_range, outside)


def robust_slope(xs: Sequence[float], ys: Sequence[float]) -> Slope:
    """Return the median slope of all pairs with its 95 % limits.

    With fewer than about 6 values the limits are those of all pairs, which promise less. Raises
    ValueError unless there are as many xs as ys, 3 at least, and each x comes once.
    """
    if len(xs) != len(ys):
        raise ValueError(f"xs and ys must be as many, not {len(xs)} and {len(ys)}")
    if len(xs) < 3:
        raise ValueError(f"xs must hold at least 3, not {len(xs)}")
    if len(set(xs)) < len(xs):
        raise ValueError(f"xs must not hold a value twice: {list(xs)}")
    points = list(zip(xs, ys, strict=True))
    slopes = sorted((y2 - y1) / (x2 - x1) for (x1, y1), (x2, y2) in combinations(points, 2))
    count = len(xs)
    spread = NORMAL_95 * math.sqrt(count * (count - 1) * (2 * count + 5) / 18)
    below = max(0, math.floor((len(slopes) - spread) / 2) - 1)
    per_step = median(slopes)
    middle_x = median(xs)
    middle_y = median(y - per_step * (x - middle_x) for x, y in points)
    return Slope(per_step, slopes[below], slopes[-1 - below], middle_x, middle_y)
