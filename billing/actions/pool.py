"""The cost lines of one firing: electricity, wear of each part, consumables, handling."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any

from django.db.models import Q, Sum

from billing.actions.energy_pricing import intervals_of, price_firing_energy, versions_for
from billing.actions.ledger import day_words
from billing.actions.tariffs import tariff_on
from billing.calculations.wear import PartWear, element_life_units, flat_units, wear_charge
from billing.calculations.working import wear_sentence
from billing.models import BillingPolicy, CostKind, CostLine, TariffVersion
from billing.refusals import BillingRefusal
from firings.calculations.firing_summary import HOT_CLASS_C
from firings.models import Firing, KilnPart, LifeUnit
from studio.calculations.money import format_minor
from studio.models import Studio


@dataclass(frozen=True)
class PoolLine:
    """One part of a firing's cost. `working` is plain JSON and holds its `sentence`."""

    kind: CostKind
    text: str
    amount_minor: int
    working: Mapping[str, Any]
    part: KilnPart | None = None


def pool_lines(
    firing: Firing, *, at: datetime, policy: BillingPolicy, studio: Studio
) -> tuple[list[PoolLine], TariffVersion | None]:
    """What the firing cost, and the tariff its electricity was priced by."""
    day = (firing.started_at or at).astimezone(studio.zone).date()
    tariff = tariff_on(day)
    lines = [_energy_line(firing, tariff, day=day, at=at, studio=studio)]
    lines += _wear_lines(firing, day, studio)
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
    versions = versions_for(intervals_of(firing, at), studio)
    if tariff is None or not versions:
        raise BillingRefusal(
            "tariff_missing",
            f"No electricity tariff holds on {day_words(day)}, when {firing} started. The "
            "treasurer must enter one that holds from that day or earlier.",
        )
    price = price_firing_energy(firing, versions, at, studio)
    return PoolLine(CostKind.ENERGY, CostKind.ENERGY.label, price.amount_minor, price.working)


def _wear_lines(firing: Firing, day: date, studio: Studio) -> Iterator[PoolLine]:
    fitted = firing.kiln.parts.filter(fitted_on__lte=day).filter(
        Q(retired_on=None) | Q(retired_on__gt=day)
    )
    charged = dict(
        CostLine.objects.filter(part__in=fitted, cost__reversed_at=None)
        .order_by()
        .values_list("part")
        .annotate(Sum("amount_minor"))
    )
    hot_seconds = {
        int(lower_c): seconds
        for lower_c, seconds in firing.log_summary.get("hot_seconds", {}).items()
    }
    for part in fitted:
        is_by_heat = part.life_unit == LifeUnit.WEIGHTED_HOURS
        units = element_life_units(hot_seconds, HOT_CLASS_C) if is_by_heat else flat_units()
        yield _wear_line(part, units, charged.get(part.pk) or 0, studio)


def _wear_line(part: KilnPart, units: Decimal, charged_minor: int, studio: Studio) -> PoolLine:
    charge = wear_charge(
        PartWear(part.replacement_cost_minor, part.expected_life, charged_minor), units
    )
    unit = part.get_life_unit_display() if units != 1 else part.get_life_unit_display().rstrip("s")
    sentence = wear_sentence(
        part.name,
        format_minor(part.replacement_cost_minor, studio.currency, studio.language),
        f"{part.expected_life.normalize():f} {part.get_life_unit_display()}",
        f"{units.normalize():f} {unit}",
        format_minor(charge.amount_minor, studio.currency, studio.language),
        charge.is_capped,
    )
    working = {**charge.working, "life_unit": part.life_unit, "sentence": sentence}
    text = f"Wear of {part.name}"[:120]
    return PoolLine(CostKind.WEAR, text, charge.amount_minor, working, part)
