"""What a supplier charges beside energy and demand: fixed charges, and taxes on top."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from decimal import Decimal
from fractions import Fraction

from billing.calculations.prices import TariffError, check_price
from billing.calculations.wall_clock import next_month

PERCENT_MAX = Decimal(100)


@dataclass(frozen=True)
class FixedCharges:
    """Due whatever is used, in whole currency units: for each day and for each month."""

    per_day: Decimal = Decimal(0)
    per_month: Decimal = Decimal(0)

    def __post_init__(self) -> None:
        problems = [
            *check_price(self.per_day, "fixed charge for a day"),
            *check_price(self.per_month, "fixed charge for a month"),
        ]
        if problems:
            raise TariffError(problems)

    @property
    def is_any(self) -> bool:
        return bool(self.per_day or self.per_month)


@dataclass(frozen=True)
class Tax:
    """A tax on top: either an amount for each kWh, or a percentage.

    A percentage is taken of energy, demand and fixed charges and of the taxes for a kWh; not of
    other percentages.
    """

    name: str
    percent: Decimal | None = None
    per_kwh: Decimal | None = None

    def __post_init__(self) -> None:
        problems = list(_tax_problems(self))
        if problems:
            raise TariffError(problems)


def months_covered(first_day: date, last_day: date) -> Fraction:
    """Calendar months from a day to a day, both included; part of one by its days.

    A whole month counts 1 whatever its length.
    """
    covered = Fraction(0)
    day = first_day
    while day <= last_day:
        month_end = next_month(day)
        days_of_month = (month_end - day.replace(day=1)).days
        end = min(month_end, last_day + timedelta(days=1))
        covered += Fraction((end - day).days, days_of_month)
        day = end
    return covered


def percent_rate(taxes: Sequence[Tax]) -> Fraction:
    """All percentages together as a fraction: 13 % gives 13/100."""
    return sum((Fraction(tax.percent) / 100 for tax in taxes if tax.percent), Fraction(0))


def _tax_problems(tax: Tax) -> Iterator[str]:
    if (tax.percent is None) == (tax.per_kwh is None):
        yield f"tax {tax.name!r} needs either a percentage or an amount for a kWh"
    if tax.percent is not None:
        yield from check_price(tax.percent, f"percentage of tax {tax.name!r}")
        if isinstance(tax.percent, Decimal) and tax.percent > PERCENT_MAX:
            yield f"percentage of tax {tax.name!r} must be at most 100, but is {tax.percent}"
    if tax.per_kwh is not None:
        yield from check_price(tax.per_kwh, f"amount for a kWh of tax {tax.name!r}")
