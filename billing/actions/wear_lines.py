"""What a firing takes from the life of each part of its kiln."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import date
from decimal import Decimal
from typing import Any

from django.db.models import Q, QuerySet, Sum

from billing.calculations.wear import PartWear, element_life_units, flat_units, wear_charge
from billing.calculations.working import WearWords, wear_sentence
from billing.models import CostLine, LifeEstimate
from firings.calculations.firing_summary import HOT_CLASS_C
from firings.models import Firing, KilnPart, LifeUnit
from studio.calculations.money import format_minor
from studio.models import Studio

WearOfPart = tuple[KilnPart, str, int, dict[str, Any]]


def wear_of(firing: Firing, day: date, studio: Studio) -> Iterator[WearOfPart]:
    """For each part that was fitted on the day: its line's text, amount and working."""
    fitted = firing.kiln.parts.filter(fitted_on__lte=day).filter(
        Q(retired_on=None) | Q(retired_on__gt=day)
    )
    charged, estimates = charged_minor_of(fitted), newest_estimates(fitted)
    hot_seconds = {
        int(lower_c): seconds
        for lower_c, seconds in firing.log_summary.get("hot_seconds", {}).items()
    }
    for part in fitted:
        units = _units(part, hot_seconds)
        wear = part_wear(part, charged.get(part.pk, 0), estimates.get(part.pk))
        amount_minor, working = _charge(part, wear, units, studio)
        yield part, f"Wear of {part.name}"[:120], amount_minor, working


def charged_minor_of(parts: QuerySet[KilnPart]) -> dict[int, int]:
    """What has been charged for parts, by their keys; costs that were taken back do not count."""
    charged = (
        CostLine.objects.filter(part__in=parts, cost__reversed_at=None)
        .order_by()
        .values_list("part")
        .annotate(Sum("amount_minor"))
    )
    return {pk: minor or 0 for pk, minor in charged if pk is not None}


def newest_estimates(parts: QuerySet[KilnPart]) -> dict[int, LifeEstimate]:
    """The estimate that holds for each part whose cost or life was estimated anew."""
    found = LifeEstimate.objects.filter(part__in=parts).order_by("made_at", "pk")
    return {estimate.part_id: estimate for estimate in found}


def part_wear(part: KilnPart, charged_minor: int, estimate: LifeEstimate | None) -> PartWear:
    """A part as the calculation of wear knows it."""
    if estimate is None:
        return PartWear(part.replacement_cost_minor, part.expected_life, charged_minor)
    return PartWear(
        estimate.replacement_cost_minor,
        estimate.expected_life,
        charged_minor,
        charged_at_estimate_minor=estimate.charged_minor,
        units_at_estimate=estimate.units_used,
    )


def _units(part: KilnPart, hot_seconds: Mapping[int, float]) -> Decimal:
    if part.life_unit == LifeUnit.WEIGHTED_HOURS:
        return element_life_units(hot_seconds, HOT_CLASS_C, part.alloy)
    return flat_units()


def _charge(
    part: KilnPart, wear: PartWear, units: Decimal, studio: Studio
) -> tuple[int, dict[str, Any]]:
    charge = wear_charge(wear, units)
    unit = part.get_life_unit_display()

    def money(minor: int) -> str:
        return format_minor(minor, studio.currency, studio.language)

    words = WearWords(
        part=part.name,
        cost=money(wear.replacement_cost_minor),
        life=f"{wear.expected_life_units.normalize():f} {unit}",
        used=f"{units.normalize():f} {unit if units != 1 else unit.rstrip('s')}",
        amount=money(charge.amount_minor),
        is_capped=charge.is_capped,
        spread=money(wear.spread_minor) if wear.units_at_estimate else "",
        spread_over=f"{wear.spread_units.normalize():f}",
    )
    working = {
        **charge.working,
        "life_unit": part.life_unit,
        "alloy": part.alloy if part.life_unit == LifeUnit.WEIGHTED_HOURS else "",
        "sentence": wear_sentence(words),
    }
    return charge.amount_minor, working
