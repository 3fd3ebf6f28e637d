"""A whole electricity bill from interval data: energy, demand, fixed charges and taxes.

Rounding rule: every line is exact, and the total is rounded once, halves up, to the currency's
minor unit. Bills that round each line may differ by a few of the smallest coins.
"""

from collections.abc import Hashable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from fractions import Fraction
from typing import Generic, Literal, TypeVar
from zoneinfo import ZoneInfo

from billing.calculations.charges import months_covered, percent_rate
from billing.calculations.demand import DemandCharge, DemandPeak, in_whole_wh, peak_of
from billing.calculations.interval_cuts import cut_at
from billing.calculations.metered_energy import EnergyInterval
from billing.calculations.tariffs import Tariff, in_order, price_loads
from billing.calculations.time_of_use import TimeOfUseTariff
from billing.calculations.wall_clock import day_start, next_month
from studio.calculations.money import round_half_up

LineKind = Literal["energy", "demand", "fixed", "tax"]
Key = TypeVar("Key", bound=Hashable)


@dataclass(frozen=True)
class BillLine:
    """Quantity times price is the exact cost in whole currency units."""

    kind: LineKind
    name: str
    quantity: Fraction
    unit: str
    price: Fraction
    cost: Fraction


@dataclass(frozen=True)
class DemandLine(Generic[Key]):
    """A demand charge and the window it is billed for; no window: no energy in its hours."""

    charge: DemandCharge
    peak: DemandPeak[Key] | None
    line: BillLine


@dataclass(frozen=True)
class Bill:
    """Lines in the order energy, demand, fixed, taxes. `sold_back_wh` was left out."""

    lines: tuple[BillLine, ...]
    sold_back_wh: int = 0

    @property
    def cost(self) -> Fraction:
        return sum((line.cost for line in self.lines), Fraction(0))

    def total_minor(self, minor_digits: int) -> int:
        """What is due, rounded once."""
        return round_half_up(self.cost * 10**minor_digits)


def bill_of(
    tariff: Tariff,
    loads: Mapping[Key, Sequence[EnergyInterval]],
    first_day: date,
    last_day: date,
) -> Bill:
    """The bill for the days from first to last, both included, of loads of kilns or meters.

    Energy outside these local days is left out, and so is energy that is sold back (negative):
    it neither earns anything nor lowers a peak. Raises ValueError for days that do not go
    forward and for intervals that cannot be priced.
    """
    if last_day < first_day:
        raise ValueError(f"last_day {last_day} lies before first_day {first_day}")
    bought = {key: [part for part in load if part.energy_wh >= 0] for key, load in loads.items()}
    sold_back_wh = -sum(
        part.energy_wh for load in loads.values() for part in load if part.energy_wh < 0
    )
    zone = tariff.zone
    if zone is not None:
        bought = {
            key: within(load, first_day, last_day, zone) for key, load in bought.items() if load
        }
    energy = _energy_lines(tariff, bought)
    demand = [found.line for found in demand_lines(tariff, bought, first_day, last_day)]
    fixed = list(fixed_lines(tariff, first_day, last_day))
    lines = [*energy, *demand, *fixed]
    return Bill((*lines, *_tax_lines(tariff, lines)), sold_back_wh)


def bill_of_firing(tariff: Tariff, load: Sequence[EnergyInterval], month: date) -> Bill:
    """What one firing costs by a tariff, without fixed charges, as if it set the month's peak.

    Blocks are taken as if nothing had been used before; `month` is any day of the month that
    its demand counts in.
    """
    first_day = month.replace(day=1)
    last_day = next_month(first_day) - timedelta(days=1)
    bought = {0: in_order(load)}
    demand = [found.line for found in demand_lines(tariff, bought, first_day, last_day)]
    lines = [*_energy_lines(tariff, bought), *demand]
    return Bill((*lines, *_tax_lines(tariff, lines)))


def within(
    load: Sequence[EnergyInterval], first_day: date, last_day: date, zone: ZoneInfo
) -> list[EnergyInterval]:
    """What was used on these local days; an interval over their edge is cut there."""
    edges = [day_start(first_day, zone), day_start(last_day + timedelta(days=1), zone)]
    return list(cut_at(in_order(load), edges)[1])


def demand_lines(
    tariff: Tariff,
    loads: Mapping[Key, Sequence[EnergyInterval]],
    first_day: date,
    last_day: date,
) -> Iterator[DemandLine[Key]]:
    """Each demand charge with its peak, for months or the part of a month by its days."""
    zone = tariff.zone
    if zone is None:
        return
    hours = tariff.energy if isinstance(tariff.energy, TimeOfUseTariff) else None
    months = months_covered(first_day, last_day)
    for charge in tariff.demand:
        found = peak_of(charge, loads, zone, hours)
        peak = in_whole_wh(found) if found else None
        kw = peak.kw if peak else Fraction(0)
        day = peak.start_at.astimezone(zone).date() if peak else first_day
        price = Fraction(charge.price_on(day)) * months
        yield DemandLine(charge, peak, BillLine("demand", charge.name, kw, "kW", price, kw * price))


def fixed_lines(tariff: Tariff, first_day: date, last_day: date) -> Iterator[BillLine]:
    """The fixed charges of some days; a month's by the part of it that they cover."""
    fixed = tariff.fixed
    for name, quantity, unit, price in (
        ("for each day", Fraction((last_day - first_day).days + 1), "days", fixed.per_day),
        ("for each month", months_covered(first_day, last_day), "months", fixed.per_month),
    ):
        if price:
            exact = Fraction(price)
            yield BillLine("fixed", name, quantity, unit, exact, quantity * exact)


def _energy_lines(tariff: Tariff, loads: Mapping[Key, Sequence[EnergyInterval]]) -> list[BillLine]:
    return [
        BillLine(
            "energy",
            row.name,
            Fraction(row.energy_wh, 1000),
            "kWh",
            Fraction(row.price_per_kwh),
            Fraction(row.cost),
        )
        for row in price_loads(tariff.energy, loads.values())
    ]


def _tax_lines(tariff: Tariff, lines: Sequence[BillLine]) -> Iterator[BillLine]:
    kwh = sum((line.quantity for line in lines if line.kind == "energy"), Fraction(0))
    base = sum((line.cost for line in lines), Fraction(0))
    for tax in tariff.taxes:
        if tax.per_kwh is not None:
            price = Fraction(tax.per_kwh)
            base += kwh * price
            yield BillLine("tax", tax.name, kwh, "kWh", price, kwh * price)
    for tax in tariff.taxes:
        if tax.percent is not None:
            rate = percent_rate([tax])
            yield BillLine("tax", tax.name, base, "of all above", rate, base * rate)
