"""Demand: the highest mean power of a month's quarter, half or whole hours, and who caused it."""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta, tzinfo
from decimal import Decimal
from fractions import Fraction
from math import lcm
from typing import Generic, TypeVar

from billing.calculations.metered_energy import EnergyInterval
from billing.calculations.prices import TariffError, check_price
from billing.calculations.seasons import WHOLE_YEAR, YearSpan, year_problems
from billing.calculations.splitting import largest_remainder
from billing.calculations.time_of_use import TimeOfUseTariff
from billing.calculations.wall_clock import MICROSECOND, offset_at
from studio.calculations.money import round_half_up

WINDOW_MINUTES = (15, 30, 60)

Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True)
class DemandPrice:
    """What one kW costs in a part of the year, in whole currency units for a month."""

    season: YearSpan
    price_per_kw: Decimal


@dataclass(frozen=True)
class DemandCharge:
    """A price for the highest mean power of a month, over windows of so many minutes.

    Only windows that begin in one of `periods` of the time-of-use prices count; an empty set
    means any hour. The prices' seasons need not be the seasons of the hours. Raises TariffError.
    """

    name: str
    window_minutes: int
    prices: tuple[DemandPrice, ...]
    periods: frozenset[str] = frozenset()

    def __post_init__(self) -> None:
        problems = list(_problems(self))
        if problems:
            raise TariffError(problems)

    def price_on(self, day: date) -> Decimal:
        return next(price.price_per_kw for price in self.prices if price.season.holds_on(day))


@dataclass(frozen=True)
class DemandPeak(Generic[Key]):
    """The window with the highest mean power, and the energy of each load in it, in Wh."""

    start_at: datetime
    window_minutes: int
    energy_wh_of: Mapping[Key, Fraction]

    @property
    def energy_wh(self) -> Fraction:
        return sum(self.energy_wh_of.values(), Fraction(0))

    @property
    def kw(self) -> Fraction:
        return mean_kw(self.energy_wh, self.window_minutes)

    def kw_of(self, key: Key) -> Fraction:
        """The mean power of one load in this window; nothing if it was not running."""
        return mean_kw(self.energy_wh_of.get(key, Fraction(0)), self.window_minutes)


def whole_year_price(price_per_kw: Decimal) -> tuple[DemandPrice, ...]:
    """One price for every month."""
    return (DemandPrice(WHOLE_YEAR, price_per_kw),)


def mean_kw(energy_wh: Fraction | int, window_minutes: int) -> Fraction:
    """Mean power of a window: 150 kWh in half an hour are 300 kW."""
    return Fraction(energy_wh) * 60 / window_minutes / 1000


def peak_of(
    charge: DemandCharge,
    loads: Mapping[Key, Sequence[EnergyInterval]],
    zone: tzinfo,
    hours: TimeOfUseTariff | None = None,
) -> DemandPeak[Key] | None:
    """The window that a demand charge is billed for; None when no energy fell into its hours.

    Loads that run at once add up. An interval longer than a window counts with its mean power,
    so its true peak may have been higher. Windows begin on the local clock's full quarter, half
    or whole hours, and are equally long on the days of clock changes too. Of equal windows the
    first counts.
    """
    found: dict[datetime, dict[Key, Fraction]] = {}
    for key, intervals in loads.items():
        for interval in intervals:
            if interval.energy_wh > 0:
                for start_at, energy_wh in _windows(interval, charge.window_minutes, zone):
                    window = found.setdefault(start_at, {})
                    window[key] = window.get(key, Fraction(0)) + energy_wh
    counted = [
        start_at
        for start_at in sorted(found)
        if not charge.periods or (hours is not None and hours.period_at(start_at) in charge.periods)
    ]
    if not counted:
        return None
    highest_at = max(counted, key=lambda start_at: sum(found[start_at].values()))
    return DemandPeak(highest_at, charge.window_minutes, found[highest_at])


def in_whole_wh(peak: DemandPeak[Key]) -> DemandPeak[Key]:
    """The peak with the window's energy rounded to the Wh, so that a calculator can follow.

    The sum is rounded halves up; the loads' parts add up to it by largest remainder, ties to
    the load that was named first.
    """
    total_wh = round_half_up(peak.energy_wh)
    unit = lcm(*(energy_wh.denominator for energy_wh in peak.energy_wh_of.values()))
    weights = [
        (number, int(energy_wh * unit))
        for number, energy_wh in enumerate(peak.energy_wh_of.values())
    ]
    parts_wh = largest_remainder(total_wh, weights)
    whole = {key: Fraction(parts_wh[number]) for number, key in enumerate(peak.energy_wh_of)}
    return DemandPeak(peak.start_at, peak.window_minutes, whole)


def _windows(
    interval: EnergyInterval, window_minutes: int, zone: tzinfo
) -> Iterator[tuple[datetime, Fraction]]:
    """The interval's energy by window, in proportion to time, exactly."""
    start_at, end_at = interval.start_at.astimezone(UTC), interval.end_at.astimezone(UTC)
    length = timedelta(minutes=window_minutes)
    whole = (end_at - start_at) // MICROSECOND
    midnight = start_at.replace(hour=0, minute=0, second=0, microsecond=0)
    since = (start_at - midnight + offset_at(start_at, zone)) % length
    window_at = start_at - since
    while window_at < end_at:
        part = min(window_at + length, end_at) - max(window_at, start_at)
        yield window_at, Fraction(interval.energy_wh * (part // MICROSECOND), whole)
        window_at += length


def _problems(charge: DemandCharge) -> Iterator[str]:
    where = f"demand charge {charge.name!r}"
    if charge.window_minutes not in WINDOW_MINUTES:
        yield f"{where} must be the mean of 15, 30 or 60 minutes, not {charge.window_minutes}"
    for price in charge.prices:
        yield from check_price(price.price_per_kw, f"price of one kW of {where}")
    for problem in year_problems([price.season for price in charge.prices]):
        yield f"{where}: {problem}"
