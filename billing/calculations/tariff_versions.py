"""Versions of a tariff, each from a day on: energy is priced by the version in force then."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from billing.calculations.interval_cuts import cut_at
from billing.calculations.metered_energy import EnergyInterval
from billing.calculations.tariffs import (
    EnergyTax,
    PricedPeriod,
    Tariff,
    energy_taxes,
    in_order,
    price_energy,
)
from billing.calculations.wall_clock import day_start


@dataclass(frozen=True)
class DatedTariff:
    """A tariff with the local day it holds from, until the next one begins."""

    key: int
    valid_from: date
    tariff: Tariff

    def starts_at(self, studio_zone: ZoneInfo) -> datetime:
        """Midnight in the tariff's own zone; in the studio's where the tariff needs none."""
        return day_start(self.valid_from, self.tariff.zone or studio_zone)


@dataclass(frozen=True)
class PricedVersion:
    """What one version had to price, exactly."""

    version: DatedTariff
    periods: tuple[PricedPeriod, ...]
    taxes: tuple[EnergyTax, ...]


def price_by_versions(
    versions: Sequence[DatedTariff],
    intervals: Sequence[EnergyInterval],
    studio_zone: ZoneInfo,
    used_wh: Mapping[date, int] | None = None,
) -> list[PricedVersion]:
    """Price each interval by its own version; an interval over a change is cut at it.

    Versions that had nothing to price are left out. Raises ValueError for energy from before
    the first version.
    """
    ordered = sorted(versions, key=lambda version: version.valid_from)
    before, *parts = cut_at(
        in_order(intervals), [version.starts_at(studio_zone) for version in ordered]
    )
    if any(part.energy_wh for part in before):
        raise ValueError(f"intervals start at {before[0].start_at}, before the first version")
    return [
        _price(version, part, used_wh)
        for version, part in zip(ordered, parts, strict=True)
        if any(piece.energy_wh for piece in part)
    ]


def _price(
    version: DatedTariff, part: Sequence[EnergyInterval], used_wh: Mapping[date, int] | None
) -> PricedVersion:
    periods = price_energy(version.tariff.energy, part, used_wh)
    return PricedVersion(
        version, tuple(periods), tuple(energy_taxes(version.tariff.taxes, periods))
    )
