"""How a kiln's elements and relays are doing, from its firings' logs.

One firing gives a sign or two: the heating rate at full power in a fixed band, the power at full
power, how often the power was switched on. Many firings of like loads give a trend, as a robust
slope. Wire ages by its resistance rising; at the same voltage it then gives less power, P = V2 / R:
10 % more resistance leaves 1 / 1.1 of the power, 9.1 % less. To replace elements at about +10 % is
a technician's rule (N. Estrick, 24 Mar 2011): common practice, no published standard.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from statistics import median

from firings.calculations.control_chart import Slope, robust_slope
from firings.calculations.readings import GAP_MAX, Reading, require_time_order

WORN_RESISTANCE_RISE = 0.10
WORN_POWER_DROP = 1 - 1 / (1 + WORN_RESISTANCE_RISE)
# Rates are compared where losses are much the same from firing to firing. Ours.
BAND_C = (600.0, 900.0)
FULL_DUTY = 0.98
# Power within this of the log's highest is full power, if it lasts. Ours.
NEAR_HIGHEST = 0.97
# A controller that asks for less than the kiln has shows a highest power too: only one near the
# plate is taken for full power. Elements that give less than this are past judging by it. Ours.
HIGHEST_OF_RATED = 0.85
# At full power the power stays the same from reading to reading. Ours.
STAYS_WITHIN = 0.02
FULL_POWER_S_MIN = 600.0
# Below it an element is off: what a power sensor shows of a controller alone. Ours.
OFF_DUTY = 0.03
# A trend over fewer says nothing here; nor does one whose 95 % limits include no change.
FIRINGS_ENOUGH = 8
LIKE_FIRINGS_MIN = 3
POWER_FACTOR_FIRINGS = 3
POWER_FACTOR_RANGE = (0.5, 1.15)


@dataclass(frozen=True)
class FullPower:
    """What a firing showed at full power.

    The rate in C per hour within the band, over `band_s` seconds; the mean power in W, over
    `power_s` seconds. None where there were not ten minutes of it.
    """

    rate_c_per_h: float | None
    band_s: float
    power_w: float | None
    power_s: float


@dataclass(frozen=True)
class FiringSign:
    """One firing of a kiln as its trend sees it; `like` names loads that compare."""

    at: datetime
    like: tuple[str, str]
    value: float


@dataclass(frozen=True)
class Trend:
    """A change over firings: each value as a part of the middle of its like loads.

    `change` is that of the fitted line from the first to the last firing, as a share of the
    first (-0.05: 5 % less), with its 95 % limits. `is_sure`: they do not include 0.
    """

    firings_count: int
    first_at: datetime
    last_at: datetime
    change: float
    lower: float
    upper: float

    @property
    def is_sure(self) -> bool:
        return self.lower > 0 or self.upper < 0


def full_power(readings: Sequence[Reading], rated_power_w: float) -> FullPower:
    """Return what the steps at full power of a log show. Raises ValueError for readings out of
    order and a rated power that is not above 0.
    """
    require_time_order(readings)
    if not rated_power_w > 0:
        raise ValueError(f"rated_power_w must be above 0, not {rated_power_w!r}")
    highest_w = max((r.power_w for r in readings if r.power_w is not None), default=0.0)
    if highest_w < HIGHEST_OF_RATED * rated_power_w:
        highest_w = math.inf
    rise_c = band_s = power_ws = power_s = 0.0
    for before, after in pairwise(readings):
        if after.at - before.at > GAP_MAX or after.temp_c <= before.temp_c:
            continue
        if not (_is_full(before, highest_w) and _is_full(after, highest_w)):
            continue
        if _moves(before, after):
            continue
        seconds = (after.at - before.at).total_seconds()
        if before.power_w is not None and after.power_w is not None:
            power_ws += seconds * (before.power_w + after.power_w) / 2
            power_s += seconds
        if BAND_C[0] <= before.temp_c and after.temp_c <= BAND_C[1]:
            rise_c += after.temp_c - before.temp_c
            band_s += seconds
    return FullPower(
        rate_c_per_h=rise_c / band_s * 3600 if band_s >= FULL_POWER_S_MIN else None,
        band_s=band_s,
        power_w=power_ws / power_s if power_s >= FULL_POWER_S_MIN else None,
        power_s=power_s,
    )


def power_from_meter(readings: Sequence[Reading], metered_wh: float) -> float | None:
    """Return the power at full duty that a meter's energy and the log's duty amount to.

    None unless duty covers the log and amounts to an hour at full power. Gaps count for nothing,
    so a log with gaps tells none either.
    """
    require_time_order(readings)
    full_h = 0.0
    for before, after in pairwise(readings):
        if before.duty is None or after.duty is None or after.at - before.at > GAP_MAX:
            return None
        full_h += (before.duty + after.duty) / 2 * (after.at - before.at).total_seconds() / 3600
    return metered_wh / full_h if full_h >= 1 else None


def relay_cycles(readings: Sequence[Reading], rated_power_w: float) -> int | None:
    """Count how often the log shows the power going on; None when it shows neither power nor duty.

    A log sees one moment in many, so relays switched at least as often.
    """
    loads = [_load(reading, rated_power_w) for reading in readings]
    seen = [load > OFF_DUTY for load in loads if load is not None]
    if not seen:
        return None
    return int(seen[0]) + sum(is_on and not was_on for was_on, is_on in pairwise(seen))


def resistance_ohm(power_w: float, supply_v: float) -> float:
    """R = V2 / P of all elements together at full power. Raises ValueError unless both above 0."""
    for name, value in (("power_w", power_w), ("supply_v", supply_v)):
        if not value > 0:
            raise ValueError(f"{name} must be above 0, not {value!r}")
    return supply_v**2 / power_w


def power_factor(full_power_w: Sequence[float], rated_power_w: float) -> float:
    """Return the power that elements still give as a part of the rated power, for energy by duty.

    The middle of the last three measured firings, given in order of time; 1.0 with fewer, and
    with a figure that cannot be wear (below 0.5 or above 1.15: a wrong plate or sensor).
    """
    if not rated_power_w > 0:
        raise ValueError(f"rated_power_w must be above 0, not {rated_power_w!r}")
    if len(full_power_w) < POWER_FACTOR_FIRINGS:
        return 1.0
    factor = median(full_power_w[-POWER_FACTOR_FIRINGS:]) / rated_power_w
    low, high = POWER_FACTOR_RANGE
    return round(factor, 4) if low <= factor <= high else 1.0


def trend_of(signs: Sequence[FiringSign]) -> Trend | None:
    """Return how a value changed over a kiln's firings, in order of time.

    Each value is compared with the middle of its like loads, of which there must be three. None
    while fewer than eight firings compare: that is no evidence.
    """
    by_like: dict[tuple[str, str], list[float]] = {}
    for sign in signs:
        by_like.setdefault(sign.like, []).append(sign.value)
    middles = {like: median(v) for like, v in by_like.items() if len(v) >= LIKE_FIRINGS_MIN}
    compared = [sign for sign in signs if middles.get(sign.like, 0) > 0]
    if len(compared) < FIRINGS_ENOUGH:
        return None
    slope = robust_slope(
        list(range(len(compared))), [sign.value / middles[sign.like] for sign in compared]
    )
    return _as_trend(slope, compared)


def _as_trend(slope: Slope, compared: Sequence[FiringSign]) -> Trend:
    steps = len(compared) - 1
    first = slope.at(0)
    return Trend(
        firings_count=len(compared),
        first_at=compared[0].at,
        last_at=compared[-1].at,
        change=slope.per_step * steps / first,
        lower=slope.lower * steps / first,
        upper=slope.upper * steps / first,
    )


def _is_full(reading: Reading, highest_w: float) -> bool:
    if reading.duty is not None:
        return reading.duty >= FULL_DUTY
    if reading.power_w is None or reading.power_w < NEAR_HIGHEST * highest_w:
        return False
    return reading.set_point_c is None or reading.temp_c <= reading.set_point_c


def _moves(before: Reading, after: Reading) -> bool:
    """Whether a controller changed the power from one reading to the next."""
    if before.duty is not None or before.power_w is None or after.power_w is None:
        return False
    return abs(after.power_w - before.power_w) > STAYS_WITHIN * before.power_w


def _load(reading: Reading, rated_power_w: float) -> float | None:
    if reading.duty is not None:
        return reading.duty
    return None if reading.power_w is None else reading.power_w / rated_power_w


WORN, AGEING, STEADY, NO_EVIDENCE = "worn", "ageing", "steady", "no_evidence"
BY_RESISTANCE, BY_RATE = "resistance", "heating_rate"


@dataclass(frozen=True)
class ElementWear:
    """What the evidence says of the elements, and the trend it rests on (None for no evidence)."""

    verdict: str
    basis: str
    trend: Trend | None


def element_wear(resistance: Trend | None, rate: Trend | None) -> ElementWear:
    """Return the verdict of the resistance where it was measured, else of the heating rate.

    Worn: resistance up 10 %, or the heating rate at full power down 9.1 %, and the 95 % limits
    leave no doubt that it moved that way at all. The rate falls by more than the power does, for
    the walls take their share first, so it calls elements worn rather too soon than too late; mains
    voltage and heavier loads move it too.
    """
    if resistance is not None:
        is_rising = resistance.lower > 0
        is_worn = is_rising and resistance.change >= WORN_RESISTANCE_RISE
        return ElementWear(_verdict(is_worn, is_rising), BY_RESISTANCE, resistance)
    if rate is not None:
        is_falling = rate.upper < 0
        is_worn = is_falling and -rate.change >= WORN_POWER_DROP
        return ElementWear(_verdict(is_worn, is_falling), BY_RATE, rate)
    return ElementWear(NO_EVIDENCE, "", None)


def _verdict(is_worn: bool, is_ageing: bool) -> str:
    if is_worn:
        return WORN
    return AGEING if is_ageing else STEADY
