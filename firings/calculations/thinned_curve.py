"""A long log made short enough to draw, without losing its peaks."""

from __future__ import annotations

from collections.abc import Sequence

from firings.calculations.readings import Reading


def thinned_curve(readings: Sequence[Reading], points_max: int) -> list[Reading]:
    """Return at most `points_max` of the readings, in their order.

    The log is cut into stretches of equal count, and of each the coolest and the hottest reading
    are kept, so that no peak or dip is lost; the first and the last reading stay too.
    Raises ValueError when `points_max` is below 4.
    """
    if points_max < 4:
        raise ValueError(f"points_max must be 4 or more, not {points_max!r}")
    count = len(readings)
    if count <= points_max:
        return list(readings)
    stretches = (points_max - 2) // 2
    kept = {0, count - 1}
    for number in range(stretches):
        stretch = range(number * count // stretches, (number + 1) * count // stretches)
        kept.add(min(stretch, key=lambda index: readings[index].temp_c))
        kept.add(max(stretch, key=lambda index: readings[index].temp_c))
    return [readings[index] for index in sorted(kept)]
