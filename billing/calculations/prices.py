"""Prices of a tariff as exact decimals, and what is wrong with one."""

from collections.abc import Iterable, Iterator
from decimal import Decimal
from zoneinfo import ZoneInfo

# Room for every currency; beyond it a price is a slip, or an attempt to break the sums.
PRICE_MAX = Decimal(999_999)
PRICE_DECIMALS = 6


class TariffError(ValueError):
    """A tariff that cannot be used. `problems` are sentences for the person who typed it."""

    def __init__(self, problems: Iterable[str]) -> None:
        self.problems = tuple(problems)
        super().__init__("; ".join(self.problems))


def check_price(price: object, where: str) -> Iterator[str]:
    """What is wrong with a price, as sentences; nothing when it is fine."""
    if not isinstance(price, Decimal) or not price.is_finite():
        yield f"{where} must be a decimal number, not {price!r}"
    elif price < 0:
        yield f"{where} must not be negative, but is {price}"
    elif price > PRICE_MAX or price != round(price, PRICE_DECIMALS):
        yield (
            f"{where} must be at most {PRICE_MAX:,}, with {PRICE_DECIMALS} decimals or fewer, "
            f"but is {price}"
        )


def zone_problems(time_zone: str | None) -> Iterator[str]:
    """What is wrong with the name of a time zone."""
    try:
        ZoneInfo(time_zone or "")
    except (KeyError, ValueError, OSError, TypeError, AttributeError):
        yield f"time zone {time_zone!r} is not known; use a name such as 'Europe/Berlin'"
