"""Electricity tariffs and the price of energy, flat or by time of use.

Prices are Decimals in whole currency units for a kWh. Energy is priced in the tariff's local
time; durations are always taken in UTC, because subtracting two datetimes of one zone across a
clock change is wrong by the change.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from decimal import Decimal
from itertools import pairwise
from typing import Protocol

from billing.calculations.splitting import largest_remainder
from billing.calculations.time_of_use import TariffError, TimeOfUseTariff, check_price
from studio.calculations.money import round_half_up

WH_PER_KWH = 1000
FLAT_PERIOD = "all hours"
# Two clock changes of one zone are never closer than this.
OFFSET_STEP = timedelta(hours=12)
MICROSECOND = timedelta(microseconds=1)


@dataclass(frozen=True)
class FlatTariff:
    """One price at all hours. Raises TariffError for a price that is negative or no Decimal."""

    price_per_kwh: Decimal

    def __post_init__(self) -> None:
        problems = tuple(check_price(self.price_per_kwh, "price for a kWh"))
        if problems:
            raise TariffError(problems)


Tariff = FlatTariff | TimeOfUseTariff


class EnergyInterval(Protocol):
    """Energy used from one moment to another: anything with these three attributes."""

    @property
    def start_at(self) -> datetime: ...
    @property
    def end_at(self) -> datetime: ...
    @property
    def energy_wh(self) -> int: ...


@dataclass(frozen=True)
class MeteredEnergy:
    """A plain EnergyInterval, for callers who have none of their own."""

    start_at: datetime
    end_at: datetime
    energy_wh: int


@dataclass(frozen=True)
class PricedPeriod:
    """The energy that fell into one period, and its exact cost in whole currency units."""

    name: str
    energy_wh: int
    price_per_kwh: Decimal
    cost: Decimal


def price_energy(tariff: Tariff, intervals: Sequence[EnergyInterval]) -> list[PricedPeriod]:
    """Price intervals of energy; one row for each period that was in force, in tariff order.

    An interval over a period boundary is split at it in proportion to time, in whole Wh by
    largest remainder, so the rows' energy always sums to the intervals'. Costs are exact:
    nothing is rounded here. Raises ValueError for an interval without a time zone, with an end
    not after its start, with negative or broken energy, or overlapping another.
    """
    ordered = sorted(intervals, key=lambda interval: interval.start_at)
    _check_intervals(ordered)
    if isinstance(tariff, FlatTariff):
        total_wh = sum(interval.energy_wh for interval in ordered)
        return [_price(FLAT_PERIOD, total_wh, tariff.price_per_kwh)] if ordered else []

    energy_of: dict[str, int] = {}
    for interval in ordered:
        for name, energy_wh in _energy_by_period(tariff, interval).items():
            energy_of[name] = energy_of.get(name, 0) + energy_wh
    return [
        _price(period.name, energy_of[period.name], period.price_per_kwh)
        for period in tariff.periods
        if period.name in energy_of
    ]


def energy_cost_minor(priced: Sequence[PricedPeriod], minor_digits: int) -> int:
    """The whole cost in minor units, rounded once, at the total, halves up.

    Rows rounded one by one may add up to another amount; this one is charged.
    """
    cost = sum((period.cost for period in priced), Decimal(0))
    return round_half_up(cost.scaleb(minor_digits))


def _price(name: str, energy_wh: int, price_per_kwh: Decimal) -> PricedPeriod:
    return PricedPeriod(name, energy_wh, price_per_kwh, energy_wh * price_per_kwh / WH_PER_KWH)


def _check_intervals(ordered: Sequence[EnergyInterval]) -> None:
    for interval in ordered:
        for moment in (interval.start_at, interval.end_at):
            if moment.utcoffset() is None:
                raise ValueError(f"intervals hold {moment} without a time zone")
        if interval.end_at <= interval.start_at:
            raise ValueError(
                f"intervals hold one that ends at {interval.end_at}, "
                f"not after its start {interval.start_at}"
            )
        if not isinstance(interval.energy_wh, int) or interval.energy_wh < 0:
            raise ValueError(
                f"intervals hold energy_wh {interval.energy_wh!r}; "
                "it must be a whole number of Wh, 0 or more"
            )
    for earlier, later in pairwise(ordered):
        if later.start_at < earlier.end_at:
            raise ValueError(
                f"intervals overlap: one starts at {later.start_at}, "
                f"before {earlier.end_at} when the one before ends"
            )


def _energy_by_period(tariff: TimeOfUseTariff, interval: EnergyInterval) -> dict[str, int]:
    microseconds_of: dict[str, int] = {}
    start_at, end_at = interval.start_at.astimezone(UTC), interval.end_at.astimezone(UTC)
    for span_start, span_end, offset in _spans_of_one_offset(start_at, end_at, tariff.zone):
        for name, length in _wall_clock_spans(tariff, span_start + offset, span_end + offset):
            microseconds_of[name] = microseconds_of.get(name, 0) + length // MICROSECOND
    return largest_remainder(interval.energy_wh, list(microseconds_of.items()))


def _spans_of_one_offset(
    start_at: datetime, end_at: datetime, zone: tzinfo
) -> Iterator[tuple[datetime, datetime, timedelta]]:
    """Cut [start_at, end_at), in UTC, at the zone's clock changes: (start, end, UTC offset)."""
    while start_at < end_at:
        offset = _offset(start_at, zone)
        step_end = min(start_at + OFFSET_STEP, end_at)
        # The offset is asked just before the end: a change at the end itself is the next span's.
        if _offset(step_end - MICROSECOND, zone) != offset:
            step_end = _clock_change_at(start_at, step_end, zone)
        yield start_at, step_end, offset
        start_at = step_end


def _clock_change_at(before_at: datetime, after_at: datetime, zone: tzinfo) -> datetime:
    """First moment after `before_at` with another offset, by halving down to a second."""
    offset = _offset(before_at, zone)
    before_s, after_s = int(before_at.timestamp()), -int(-after_at.timestamp() // 1)
    while after_s - before_s > 1:
        middle_s = (before_s + after_s) // 2
        if _offset(datetime.fromtimestamp(middle_s, UTC), zone) == offset:
            before_s = middle_s
        else:
            after_s = middle_s
    return datetime.fromtimestamp(after_s, UTC)


def _offset(moment: datetime, zone: tzinfo) -> timedelta:
    return moment.astimezone(zone).utcoffset() or timedelta()


def _wall_clock_spans(
    tariff: TimeOfUseTariff, start_at: datetime, end_at: datetime
) -> Iterator[tuple[str, timedelta]]:
    """Periods between two wall-clock readings with no clock change between them."""
    midnight = start_at.replace(hour=0, minute=0, second=0, microsecond=0)
    while midnight < end_at:
        next_midnight = midnight + timedelta(days=1)
        changes = tariff.periods_of_day(midnight.date())
        starts = [midnight + timedelta(minutes=minute) for minute, _ in changes]
        for (_, name), begins_at, ends_at in zip(
            changes, starts, [*starts[1:], next_midnight], strict=True
        ):
            length = min(ends_at, end_at) - max(begins_at, start_at)
            if length > timedelta():
                yield name, length
        midnight = next_midnight
