"""Electricity tariffs and the price of energy: flat, by block of the month, or by time of use.

Prices are Decimals in whole currency units. Energy is priced in the tariff's local time;
durations are always taken in UTC.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from zoneinfo import ZoneInfo

from billing.calculations.charges import FixedCharges, Tax
from billing.calculations.demand import DemandCharge
from billing.calculations.metered_energy import EnergyInterval
from billing.calculations.prices import TariffError, check_price, zone_problems
from billing.calculations.splitting import largest_remainder
from billing.calculations.tiers import WH_PER_KWH, TieredTariff, energy_by_tier
from billing.calculations.time_of_use import TimeOfUseTariff
from billing.calculations.wall_clock import MICROSECOND, spans_by_month, spans_of_one_offset
from studio.calculations.money import round_half_up

FLAT_PERIOD = "all hours"


@dataclass(frozen=True)
class FlatTariff:
    """One price at all hours. Raises TariffError for a price that is negative or no Decimal."""

    price_per_kwh: Decimal

    def __post_init__(self) -> None:
        problems = tuple(check_price(self.price_per_kwh, "price for a kWh"))
        if problems:
            raise TariffError(problems)


EnergyPrices = FlatTariff | TieredTariff | TimeOfUseTariff


@dataclass(frozen=True)
class Tariff:
    """All that a supplier charges. `time_zone` is needed where days and months count.

    Energy that is sold back has no price here: it is left out of every bill. Raises TariffError
    for charges without a time zone, and for a demand charge of hours that the tariff lacks.
    """

    energy: EnergyPrices
    time_zone: str | None = None
    fixed: FixedCharges = field(default_factory=FixedCharges)
    demand: tuple[DemandCharge, ...] = ()
    taxes: tuple[Tax, ...] = ()

    def __post_init__(self) -> None:
        problems = tuple(_problems(self))
        if problems:
            raise TariffError(problems)

    @cached_property
    def zone(self) -> ZoneInfo | None:
        """The tariff's own zone; None for a plain price at all hours, which needs none."""
        return ZoneInfo(self.time_zone) if self.time_zone else None

    @property
    def has_monthly_charges(self) -> bool:
        """Whether something is due that no single firing causes."""
        return self.fixed.is_any or bool(self.demand)


@dataclass(frozen=True)
class PricedPeriod:
    """The energy that fell into one period, and its exact cost in whole currency units."""

    name: str
    energy_wh: int
    price_per_kwh: Decimal
    cost: Decimal


@dataclass(frozen=True)
class EnergyTax:
    """A tax on energy, exactly: `base` is kWh or an amount, `rate` by kWh or in percent."""

    name: str
    is_percent: bool
    base: Decimal
    rate: Decimal
    cost: Decimal


def price_energy(
    prices: EnergyPrices,
    intervals: Sequence[EnergyInterval],
    used_wh: Mapping[date, int] | None = None,
) -> list[PricedPeriod]:
    """Price intervals of energy; one row for each period that was in force, in tariff order.

    An interval over a period boundary is split at it in proportion to time, in whole Wh by
    largest remainder, so the rows' energy always sums to the intervals'. Costs are exact:
    nothing is rounded here. `used_wh` is what each month (by its first day) used before, for
    prices by block. Raises ValueError for an interval without a time zone, with an end not
    after its start, with negative or broken energy, or overlapping another.
    """
    return price_loads(prices, [intervals], used_wh)


def price_loads(
    prices: EnergyPrices,
    loads: Iterable[Sequence[EnergyInterval]],
    used_wh: Mapping[date, int] | None = None,
) -> list[PricedPeriod]:
    """The same for several kilns on one bill: only intervals of one load may not overlap."""
    ordered = [in_order(intervals) for intervals in loads]
    everything = [interval for load in ordered for interval in load]
    if isinstance(prices, FlatTariff):
        total_wh = sum(interval.energy_wh for interval in everything)
        return [_price(FLAT_PERIOD, total_wh, prices.price_per_kwh)] if everything else []
    if isinstance(prices, TieredTariff):
        found = energy_by_tier(prices, energy_by_month(everything, prices.zone), used_wh or {})
        return [
            _price(prices.name_of(position), found[position], tier.price_per_kwh)
            for position, tier in enumerate(prices.tiers)
            if position in found
        ]
    energy_of: dict[tuple[str, str], int] = {}
    for interval in everything:
        for key, energy_wh in _energy_by_period(prices, interval).items():
            energy_of[key] = energy_of.get(key, 0) + energy_wh
    return [
        _price(row.name, energy_of[key], row.price_per_kwh)
        for key, row in prices.rows.items()
        if key in energy_of
    ]


def energy_taxes(taxes: Sequence[Tax], priced: Sequence[PricedPeriod]) -> list[EnergyTax]:
    """The taxes on priced energy, exact: those by kWh first, then percentages of it all."""
    kwh = Decimal(sum(period.energy_wh for period in priced)) / WH_PER_KWH
    cost = sum((period.cost for period in priced), Decimal(0))
    by_kwh = [
        EnergyTax(tax.name, False, kwh, tax.per_kwh, kwh * tax.per_kwh)
        for tax in taxes
        if tax.per_kwh is not None
    ]
    base = cost + sum((tax.cost for tax in by_kwh), Decimal(0))
    by_percent = [
        EnergyTax(tax.name, True, base, tax.percent, base * tax.percent / 100)
        for tax in taxes
        if tax.percent is not None
    ]
    return by_kwh + by_percent


def energy_cost_minor(
    priced: Sequence[PricedPeriod], minor_digits: int, taxes: Sequence[EnergyTax] = ()
) -> int:
    """The whole cost in minor units, rounded once, at the total, halves up.

    Rows rounded one by one may add up to another amount; this one is charged.
    """
    cost = sum((period.cost for period in priced), Decimal(0))
    cost += sum((tax.cost for tax in taxes), Decimal(0))
    return round_half_up(cost.scaleb(minor_digits))


def energy_by_month(intervals: Iterable[EnergyInterval], zone: ZoneInfo) -> dict[date, int]:
    """Wh of each local month, by its first day; split in proportion to time."""
    found: dict[date, int] = {}
    for interval in intervals:
        spans = [
            (month, (end_at - start_at) // MICROSECOND)
            for month, start_at, end_at in spans_by_month(interval.start_at, interval.end_at, zone)
        ]
        parts_wh = largest_remainder(
            interval.energy_wh, [(number, length) for number, (_, length) in enumerate(spans)]
        )
        for number, (month, _) in enumerate(spans):
            found[month] = found.get(month, 0) + parts_wh[number]
    return found


def in_order(intervals: Sequence[EnergyInterval]) -> list[EnergyInterval]:
    """By start, after a check of each. Raises ValueError for what cannot be priced."""
    ordered = sorted(intervals, key=lambda interval: interval.start_at)
    _check_intervals(ordered)
    return ordered


def _problems(tariff: Tariff) -> Iterator[str]:
    energy = tariff.energy
    own_zone = None if isinstance(energy, FlatTariff) else energy.time_zone
    if own_zone is not None and own_zone != tariff.time_zone:
        yield f"the tariff's time zone {tariff.time_zone!r} is not that of its hours, {own_zone!r}"
    if tariff.time_zone is not None:
        yield from zone_problems(tariff.time_zone)
    elif tariff.has_monthly_charges:
        yield "a tariff with fixed or demand charges needs its time zone: days begin at midnight"
    periods = (
        {period.name for period in energy.periods} if isinstance(energy, TimeOfUseTariff) else set()
    )
    for charge in tariff.demand:
        for name in sorted(charge.periods - periods):
            yield f"demand charge {charge.name!r}: {name!r} is not one of the periods"
    for names in ([c.name for c in tariff.demand], [tax.name for tax in tariff.taxes]):
        for name in sorted({name for name in names if names.count(name) > 1}):
            yield f"charge {name!r} is given twice"


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


def _energy_by_period(
    tariff: TimeOfUseTariff, interval: EnergyInterval
) -> dict[tuple[str, str], int]:
    microseconds_of: dict[tuple[str, str], int] = {}
    start_at, end_at = interval.start_at.astimezone(UTC), interval.end_at.astimezone(UTC)
    for span_start, span_end, offset in spans_of_one_offset(start_at, end_at, tariff.zone):
        for key, length in _wall_clock_spans(tariff, span_start + offset, span_end + offset):
            microseconds_of[key] = microseconds_of.get(key, 0) + length // MICROSECOND
    # Ties go by the order of names, as they always did.
    keys = sorted(microseconds_of)
    parts_wh = largest_remainder(
        interval.energy_wh, [(number, microseconds_of[key]) for number, key in enumerate(keys)]
    )
    return {key: parts_wh[number] for number, key in enumerate(keys)}


def _wall_clock_spans(
    tariff: TimeOfUseTariff, start_at: datetime, end_at: datetime
) -> Iterator[tuple[tuple[str, str], timedelta]]:
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
                yield tariff.row_on(name, midnight.date()), length
        midnight = next_midnight
