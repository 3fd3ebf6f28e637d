"""The cost lines of one firing: electricity, wear of each part, consumables, handling."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from billing.actions.consumable_lines import consumed_by
from billing.actions.ledger import day_words
from billing.actions.tariffs import tariff_on
from billing.actions.wear_lines import wear_of
from billing.calculations.splitting import largest_remainder
from billing.calculations.tariff_documents import from_json
from billing.calculations.tariffs import (
    MeteredEnergy,
    PricedPeriod,
    energy_cost_minor,
    price_energy,
)
from billing.calculations.working import PeriodWords, energy_sentence
from billing.models import BillingPolicy, CostKind, TariffVersion
from billing.refusals import BillingRefusal
from firings.models import Booking, Firing, KilnPart
from studio.calculations.money import format_minor, minor_digits
from studio.calculations.quantities import NO_BREAK_SPACE, format_exact
from studio.models import Studio

SHORTEST = timedelta(minutes=1)


@dataclass(frozen=True)
class PoolLine:
    """One part of a firing's cost. `working` is plain JSON and holds its `sentence`."""

    kind: CostKind
    text: str
    amount_minor: int
    working: Mapping[str, Any]
    part: KilnPart | None = None


def pool_lines(
    firing: Firing,
    bookings: Sequence[Booking],
    *,
    at: datetime,
    policy: BillingPolicy,
    studio: Studio,
) -> tuple[list[PoolLine], TariffVersion | None]:
    """What the firing cost, and the tariff its electricity was priced by."""
    day = (firing.started_at or at).astimezone(studio.zone).date()
    tariff = tariff_on(day)
    lines = [_energy_line(firing, tariff, day=day, at=at, studio=studio)]
    lines += [
        PoolLine(CostKind.WEAR, text, amount_minor, working, part)
        for part, text, amount_minor, working in wear_of(firing, day, studio)
    ]
    lines += [
        PoolLine(CostKind.CONSUMABLES, text, amount_minor, working)
        for text, amount_minor, working in consumed_by(firing, bookings, studio)
    ]
    for kind, amount_minor in (
        (CostKind.CONSUMABLES, policy.consumables_per_firing_minor),
        (CostKind.HANDLING, policy.handling_per_firing_minor),
    ):
        if amount_minor:
            shown = format_minor(amount_minor, studio.currency, studio.language)
            sentence = f"{kind.label}: {shown} for each firing, as the studio has set."
            lines.append(PoolLine(kind, kind.label, amount_minor, {"sentence": sentence}))
    return lines, tariff if firing.energy_wh else None


def _energy_line(
    firing: Firing, tariff: TariffVersion | None, *, day: date, at: datetime, studio: Studio
) -> PoolLine:
    if firing.energy_wh is None:
        raise BillingRefusal(
            "energy_unknown",
            f"How much electricity {firing} used is not known. Enter the meter's registers.",
        )
    if firing.energy_wh == 0:
        sentence = "Electricity: none was used."
        return PoolLine(
            CostKind.ENERGY, CostKind.ENERGY.label, 0, {"energy_wh": 0, "sentence": sentence}
        )
    if tariff is None:
        raise BillingRefusal(
            "tariff_missing",
            f"No electricity tariff holds on {day_words(day)}, when {firing} started. The "
            "treasurer must enter one that holds from that day or earlier.",
        )
    priced = price_energy(from_json(tariff.rates), _intervals(firing, at))
    amount_minor = energy_cost_minor(priced, minor_digits(studio.currency))
    return PoolLine(
        CostKind.ENERGY,
        CostKind.ENERGY.label,
        amount_minor,
        {
            "energy_wh": firing.energy_wh,
            "source": firing.energy_source,
            "tariff": str(tariff),
            "periods": [_period_json(period) for period in priced],
            "amount_minor": amount_minor,
            "sentence": _energy_sentence(firing, tariff, priced, amount_minor, studio),
        },
    )


def _intervals(firing: Firing, at: datetime) -> list[MeteredEnergy]:
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


def _period_json(period: PricedPeriod) -> dict[str, Any]:
    return {
        "name": period.name,
        "energy_wh": period.energy_wh,
        "price_per_kwh": str(period.price_per_kwh),
        "cost": str(period.cost),
    }


def _energy_sentence(
    firing: Firing,
    tariff: TariffVersion,
    priced: list[PricedPeriod],
    amount_minor: int,
    studio: Studio,
) -> str:
    language = studio.language
    words = [
        PeriodWords(
            name=period.name,
            energy=_exact_kwh(period.energy_wh, studio),
            price_per_kwh=f"{format_exact(period.price_per_kwh, language)} {studio.currency}",
            cost=f"{format_exact(period.cost, language)} {studio.currency}",
        )
        for period in priced
    ]
    return energy_sentence(
        _exact_kwh(firing.energy_wh or 0, studio),
        firing.energy_source,
        f"{tariff.name} from {day_words(tariff.valid_from)}",
        words,
        format_minor(amount_minor, studio.currency, studio.language),
    )


def _exact_kwh(energy_wh: int, studio: Studio) -> str:
    return f"{format_exact(Decimal(energy_wh).scaleb(-3), studio.language)}{NO_BREAK_SPACE}kWh"
