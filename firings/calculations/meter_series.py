"""What a utility's meter measured, interval by interval, and what of it fell into a firing."""

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal

from firings.calculations.espi_codes import MEASURED, QUALITIES

# What a utility fills in for a meter that was silent may be anything between nothing and twice as
# much. Ours, no source.
FILLED_IN_BOUND = 1.0


@dataclass(frozen=True, slots=True)
class MeteredInterval:
    """Energy delivered from start_at (included) to end_at (not included), both UTC.

    `cost` is what the utility says it cost, in units of the series' currency; None when it does
    not say. `quality` is the utility's own code. `line` is where it stands in the file.
    """

    start_at: datetime
    end_at: datetime
    energy_wh: Decimal
    cost: Decimal | None
    quality: int
    line: int

    @property
    def is_measured(self) -> bool:
        return self.quality in MEASURED


@dataclass(frozen=True, slots=True)
class MeterSeries:
    """One meter's intervals in order of time. `gaps` are the spans between them without any.

    `utc_offset_s`: how far the meter's clock stands from UTC outside daylight saving time, where
    the file says so. It is only good for a warning: all times here are UTC.
    """

    name: str
    intervals: tuple[MeteredInterval, ...]
    gaps: tuple[tuple[datetime, datetime], ...]
    currency: str | None
    utc_offset_s: int | None = None
    warnings: tuple[str, ...] = ()

    @property
    def start_at(self) -> datetime:
        return self.intervals[0].start_at

    @property
    def end_at(self) -> datetime:
        return self.intervals[-1].end_at

    @property
    def energy_wh(self) -> Decimal:
        return sum((interval.energy_wh for interval in self.intervals), Decimal(0))

    @property
    def cost(self) -> Decimal | None:
        """What the utility says all of it cost; None when an interval does not say."""
        costs = [interval.cost for interval in self.intervals]
        known = [cost for cost in costs if cost is not None]
        return sum(known, Decimal(0)) if len(known) == len(costs) else None

    def quality_words(self) -> tuple[str, ...]:
        """How many intervals are not plainly measured, and why, commonest first."""
        counts = Counter(i.quality for i in self.intervals if not i.is_measured)
        return tuple(
            f"{count} of {len(self.intervals)} intervals "
            f"{'is' if count == 1 else 'are'} {QUALITIES.get(quality, f'of quality {quality}')}"
            for quality, count in counts.most_common()
        )


@dataclass(frozen=True, slots=True)
class SpanEnergy:
    """What fell into a span of time, with one standard uncertainty, and what it rests on.

    `covered_seconds` of the span lie in intervals; `filled_in_wh` came from intervals that the
    utility filled in. `parts` are the pieces of intervals inside the span.
    """

    energy_wh: float
    uncertainty_wh: float
    covered_seconds: float
    filled_in_wh: float
    parts: tuple[tuple[datetime, datetime, float], ...]


def energy_in_span(
    intervals: Sequence[MeteredInterval],
    start_at: datetime,
    end_at: datetime,
    meter_class_percent: float = 2.0,
) -> SpanEnergy:
    """Add up the intervals of a span; one that reaches over its edge counts in proportion.

    Within an interval nobody knows when the energy was used: a part that is cut off is known
    to plus or minus what the cut could hide, taken as rectangular (JCGM 100, 4.3.7), and so is the
    meter's class. Raises ValueError when end_at is not after start_at.
    """
    if end_at <= start_at:
        raise ValueError(f"end_at {end_at} must be after start_at {start_at}")
    parts: list[tuple[datetime, datetime, float]] = []
    bounds_wh: list[float] = []
    covered, filled_in_wh = timedelta(0), 0.0
    for interval in intervals:
        first, last = max(start_at, interval.start_at), min(end_at, interval.end_at)
        if last <= first:
            continue
        share = (last - first) / (interval.end_at - interval.start_at)
        energy_wh = float(interval.energy_wh)
        parts.append((first, last, energy_wh * share))
        covered += last - first
        if share < 1:
            bounds_wh.append(energy_wh * max(share, 1 - share))
        if not interval.is_measured:
            filled_in_wh += energy_wh * share
    total_wh = sum(part_wh for _, _, part_wh in parts)
    bounds_wh += [total_wh * meter_class_percent / 100, filled_in_wh * FILLED_IN_BOUND]
    return SpanEnergy(
        energy_wh=total_wh,
        uncertainty_wh=math.hypot(*bounds_wh) / math.sqrt(3),
        covered_seconds=covered.total_seconds(),
        filled_in_wh=filled_in_wh,
        parts=tuple(parts),
    )
