"""Intervals of energy cut at moments: where a version of a tariff or a month begins."""

from collections.abc import Sequence
from datetime import UTC, datetime
from itertools import pairwise

from billing.calculations.metered_energy import EnergyInterval, MeteredEnergy
from billing.calculations.splitting import largest_remainder
from billing.calculations.wall_clock import MICROSECOND


def cut_at(
    intervals: Sequence[EnergyInterval], moments: Sequence[datetime]
) -> list[list[MeteredEnergy]]:
    """One list for the time before the first moment, between each two, and after the last.

    An interval over a moment is cut there in proportion to time, in whole Wh by largest
    remainder: the lists' energy always sums to the intervals'. Raises ValueError for moments
    that are not in order.
    """
    if any(later <= earlier for earlier, later in pairwise(moments)):
        raise ValueError(f"moments must be in order, each once, not {list(moments)}")
    parts: list[list[MeteredEnergy]] = [[] for _ in range(len(moments) + 1)]
    for interval in intervals:
        edges = [at for at in moments if interval.start_at < at < interval.end_at]
        first = sum(at <= interval.start_at for at in moments)
        for offset, piece in enumerate(_pieces(interval, edges)):
            parts[first + offset].append(piece)
    return parts


def _pieces(interval: EnergyInterval, edges: Sequence[datetime]) -> list[MeteredEnergy]:
    bounds = [at.astimezone(UTC) for at in (interval.start_at, *edges, interval.end_at)]
    lengths = [(end - start) // MICROSECOND for start, end in pairwise(bounds)]
    energy_wh = largest_remainder(interval.energy_wh, list(enumerate(lengths)))
    return [
        MeteredEnergy(start, end, energy_wh[position])
        for position, (start, end) in enumerate(pairwise(bounds))
    ]
