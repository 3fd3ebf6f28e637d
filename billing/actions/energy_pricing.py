"""What a firing's electricity costs: each interval by the tariff version in force then."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from billing.actions.ledger import day_words
from billing.calculations.metered_energy import MeteredEnergy
from billing.calculations.splitting import largest_remainder
from billing.calculations.tariff_documents import from_json
from billing.calculations.tariff_versions import DatedTariff, PricedVersion, price_by_versions
from billing.calculations.tariffs import (
    EnergyTax,
    PricedPeriod,
    energy_by_month,
    energy_cost_minor,
)
from billing.calculations.tiers import TieredTariff
from billing.calculations.wall_clock import day_start, next_month
from billing.calculations.working import PeriodWords, TaxWords, energy_sentence
from billing.models import FiringCost, TariffVersion
from firings.models import Firing
from studio.calculations.money import format_minor, minor_digits
from studio.calculations.quantities import NO_BREAK_SPACE, format_exact
from studio.models import Studio

SHORTEST = timedelta(minutes=1)
# No firing is longer: to look for those that reach into a month from the one before.
LONGEST = timedelta(days=21)


@dataclass(frozen=True)
class EnergyPrice:
    """A firing's electricity in minor units, rounded once, with its plain JSON working."""

    amount_minor: int
    working: dict[str, Any]


def intervals_of(firing: Firing, at: datetime) -> list[MeteredEnergy]:
    """When the energy was used; spread evenly over the firing when no profile was kept."""
    profile = firing.energy_working.get("profile") or []
    energy_wh = firing.energy_wh or 0
    if not any(part_wh for _, _, part_wh in profile):
        start_at = firing.started_at or at - SHORTEST
        end_at = max(firing.cooling_at or at, start_at + SHORTEST)
        return [MeteredEnergy(start_at, end_at, energy_wh)]
    # A profile that was kept for another total keeps its shape.
    parts_wh = largest_remainder(energy_wh, [(i, part[2]) for i, part in enumerate(profile)])
    return [
        MeteredEnergy(
            datetime.fromisoformat(start), datetime.fromisoformat(end), parts_wh[position]
        )
        for position, (start, end, _) in enumerate(profile)
    ]


def versions_for(intervals: Sequence[MeteredEnergy], studio: Studio) -> list[TariffVersion]:
    """The versions that hold for some intervals, the oldest first; none if one has no version."""
    first = min(part.start_at for part in intervals).astimezone(studio.zone).date()
    # A tariff's own midnight may lie on the studio's day before or after.
    last = max(part.end_at for part in intervals).astimezone(studio.zone).date() + timedelta(days=1)
    before = TariffVersion.objects.filter(valid_from__lte=first).order_by("-valid_from")[:2]
    during = TariffVersion.objects.filter(valid_from__gt=first, valid_from__lte=last)
    found = sorted([*before, *during], key=lambda version: version.valid_from)
    start_at = min(part.start_at for part in intervals)
    if not found or _dated(found[0]).starts_at(studio.zone) > start_at:
        return []
    return found


def price_firing_energy(
    firing: Firing, versions: Sequence[TariffVersion], at: datetime, studio: Studio
) -> EnergyPrice:
    """Price a firing's energy by versions, the oldest of which holds when it started."""
    intervals = intervals_of(firing, at)
    dated = {version.pk or 0: _dated(version) for version in versions}
    used_wh = _used_before(firing, list(dated.values()), intervals, at)
    priced = price_by_versions(list(dated.values()), intervals, studio.zone, used_wh)
    periods = [row for part in priced for row in part.periods]
    taxes = [tax for part in priced for tax in part.taxes]
    amount_minor = energy_cost_minor(periods, minor_digits(studio.currency), taxes)
    by_key = {version.pk or 0: version for version in versions}
    used = [by_key[part.version.key] for part in priced]
    words = _Words(studio)
    working = {
        "energy_wh": firing.energy_wh,
        "source": firing.energy_source,
        "tariff": " and ".join(str(version) for version in used),
        "tariff_ids": [version.pk for version in used],
        "periods": [
            {**_period_json(row), "name": _row_name(row.name, part, priced)}
            for part in priced
            for row in part.periods
        ],
        "taxes": [
            {**_tax_json(tax), "name": _row_name(tax.name, part, priced)}
            for part in priced
            for tax in part.taxes
        ],
        "used_before_wh": {month.isoformat(): wh for month, wh in used_wh.items()},
        "amount_minor": amount_minor,
    }
    working["sentence"] = energy_sentence(
        words.kwh(firing.energy_wh or 0),
        firing.energy_source,
        " and ".join(f"{v.name} from {day_words(v.valid_from)}" for v in used),
        [words.period(row, _row_name(row.name, part, priced)) for part in priced
         for row in part.periods],
        format_minor(amount_minor, studio.currency, studio.language),
        taxes=[words.tax(tax) for tax in taxes],
        used_before=[
            (f"{month:%B %Y}", words.kwh(used)) for month, used in used_wh.items() if used
        ],
    )  # fmt: skip
    return EnergyPrice(amount_minor, working)


def _dated(version: TariffVersion) -> DatedTariff:
    return DatedTariff(version.pk or 0, version.valid_from, from_json(version.rates))


def _used_before(
    firing: Firing,
    versions: Sequence[DatedTariff],
    intervals: Sequence[MeteredEnergy],
    at: datetime,
) -> dict[date, int]:
    """Wh of firings priced before this one, by month: they fill the lower blocks first."""
    tiered = [v.tariff.energy for v in versions if isinstance(v.tariff.energy, TieredTariff)]
    if not tiered:
        return {}
    zone = tiered[-1].zone
    months = list(energy_by_month(intervals, zone))
    standing = FiringCost.objects.filter(
        reversed_at=None,
        firing__started_at__gte=day_start(months[0], zone) - LONGEST,
        firing__started_at__lt=day_start(next_month(months[-1]), zone),
    ).exclude(firing=firing)
    used_wh = dict.fromkeys(months, 0)
    for cost in standing.select_related("firing"):
        for month, energy_wh in energy_by_month(intervals_of(cost.firing, at), zone).items():
            if month in used_wh:
                used_wh[month] += energy_wh
    return used_wh


def _row_name(name: str, part: PricedVersion, priced: Sequence[PricedVersion]) -> str:
    """Where a tariff changed during the firing, a row says by which version it was priced."""
    return name if len(priced) == 1 else f"{name}, from {day_words(part.version.valid_from)}"


def _period_json(period: PricedPeriod) -> dict[str, Any]:
    return {
        "name": period.name,
        "energy_wh": period.energy_wh,
        "price_per_kwh": str(period.price_per_kwh),
        "cost": str(period.cost),
    }


def _tax_json(tax: EnergyTax) -> dict[str, Any]:
    return {
        "name": tax.name,
        "is_percent": tax.is_percent,
        "base": str(tax.base),
        "rate": str(tax.rate),
        "cost": str(tax.cost),
    }


@dataclass(frozen=True)
class _Words:
    studio: Studio

    def kwh(self, energy_wh: int) -> str:
        return f"{self.exact(Decimal(energy_wh).scaleb(-3))}{NO_BREAK_SPACE}kWh"

    def exact(self, number: Decimal) -> str:
        return format_exact(number, self.studio.language)

    def period(self, period: PricedPeriod, name: str) -> PeriodWords:
        return PeriodWords(
            name=name,
            energy=self.kwh(period.energy_wh),
            price_per_kwh=f"{self.exact(period.price_per_kwh)} {self.studio.currency}",
            cost=f"{self.exact(period.cost)} {self.studio.currency}",
        )

    def tax(self, tax: EnergyTax) -> TaxWords:
        currency = self.studio.currency
        return TaxWords(
            name=tax.name,
            rate=f"{self.exact(tax.rate)}{NO_BREAK_SPACE}%"
            if tax.is_percent
            else f"{self.exact(tax.rate)} {currency} for a kWh",
            base=f"{self.exact(tax.base)} {currency}"
            if tax.is_percent
            else f"{self.exact(tax.base)}{NO_BREAK_SPACE}kWh",
            cost=f"{self.exact(tax.cost)} {currency}",
        )
