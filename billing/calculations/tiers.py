"""Prices by block: the first kWh of a month at one price, the next at another."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from functools import cached_property
from itertools import pairwise
from zoneinfo import ZoneInfo

from billing.calculations.prices import TariffError, check_price, zone_problems

WH_PER_KWH = 1000


@dataclass(frozen=True)
class Tier:
    """A block of a month's energy up to `up_to_kwh` (None: all that is left) and its price."""

    up_to_kwh: Decimal | None
    price_per_kwh: Decimal


@dataclass(frozen=True)
class TieredTariff:
    """Marginal blocks by calendar month of `time_zone`: each kWh has the price of its own block.

    Raises TariffError unless blocks grow, hold whole Wh, and only the last one is open.
    """

    time_zone: str
    tiers: tuple[Tier, ...]

    def __post_init__(self) -> None:
        problems = tuple(_problems(self))
        if problems:
            raise TariffError(problems)

    @cached_property
    def zone(self) -> ZoneInfo:
        return ZoneInfo(self.time_zone)

    def name_of(self, position: int) -> str:
        """Such as "first 250 kWh of the month", "up to 700 kWh", "above 700 kWh"."""
        up_to_kwh = self.tiers[position].up_to_kwh
        if up_to_kwh is None:
            below = self.tiers[position - 1].up_to_kwh if position else None
            return "all hours" if below is None else f"above {below.normalize():f} kWh"
        return f"{'first' if position == 0 else 'up to'} {up_to_kwh.normalize():f} kWh"


def energy_by_tier(
    tariff: TieredTariff, energy_wh_of: Mapping[date, int], used_wh: Mapping[date, int]
) -> dict[int, int]:
    """Wh that fall into each tier (by its position), for the energy of each month.

    `used_wh` is what the month had used before: that energy stands lower in the blocks.
    """
    found: dict[int, int] = {}
    for month, energy_wh in energy_wh_of.items():
        before_wh = used_wh.get(month, 0)
        for position, part_wh in _parts(tariff.tiers, before_wh, before_wh + energy_wh):
            found[position] = found.get(position, 0) + part_wh
    return found


def _parts(tiers: Iterable[Tier], start_wh: int, end_wh: int) -> Iterator[tuple[int, int]]:
    floor_wh = 0
    for position, tier in enumerate(tiers):
        top_wh = end_wh if tier.up_to_kwh is None else int(tier.up_to_kwh * WH_PER_KWH)
        part_wh = min(end_wh, top_wh) - max(start_wh, floor_wh)
        if part_wh > 0:
            yield position, part_wh
        floor_wh = top_wh


def _problems(tariff: TieredTariff) -> Iterator[str]:
    yield from zone_problems(tariff.time_zone)
    if not tariff.tiers:
        yield "a tiered tariff needs at least one tier with its price"
        return
    for number, tier in enumerate(tariff.tiers, start=1):
        yield from check_price(tier.price_per_kwh, f"price of tier {number}")
    yield from _top_problems([tier.up_to_kwh for tier in tariff.tiers])


def _top_problems(tops: list[Decimal | None]) -> Iterator[str]:
    for number, top in enumerate(tops[:-1], start=1):
        if top is None:
            yield f"tier {number} has no upper end, but tier {number + 1} follows it"
    if tops[-1] is not None:
        yield (
            f"energy above {tops[-1]} kWh has no price: leave the upper end of the last tier empty"
        )
    for number, top in enumerate(tops, start=1):
        if top is not None and (
            not top.is_finite() or top <= 0 or top * WH_PER_KWH != int(top * WH_PER_KWH)
        ):
            yield f"tier {number} must end at a number of kWh above 0, in whole Wh, not {top}"
            return
    for number, (lower, upper) in enumerate(pairwise(tops), start=2):
        if lower is not None and upper is not None and upper <= lower:
            yield f"tier {number} ends at {upper} kWh, not above the {lower} kWh of the one before"
