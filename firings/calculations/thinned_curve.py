"""A long log made short enough to draw, without losing its peaks."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TypeVar

Sample = TypeVar("Sample")


def thinned_curve(
    samples: Sequence[Sample], points_max: int, value: Callable[[Sample], float]
) -> list[Sample]:
    """Return at most `points_max` of the samples, in their order; `value` reads a temperature.

    The log is cut into stretches of equal count, and of each the coolest and the hottest sample
    are kept, so that no peak or dip is lost; the first and the last sample stay too.
    Raises ValueError when `points_max` is below 4.
    """
    if points_max < 4:
        raise ValueError(f"points_max must be 4 or more, not {points_max!r}")
    count = len(samples)
    if count <= points_max:
        return list(samples)
    stretches = (points_max - 2) // 2
    kept = {0, count - 1}
    for number in range(stretches):
        stretch = range(number * count // stretches, (number + 1) * count // stretches)
        kept.add(min(stretch, key=lambda index: value(samples[index])))
        kept.add(max(stretch, key=lambda index: value(samples[index])))
    return [samples[index] for index in sorted(kept)]
