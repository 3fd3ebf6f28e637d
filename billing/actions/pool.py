"""The cost lines of one firing: electricity, wear of each part, consumables, handling."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from billing.actions.consumable_lines import consumed_by
from billing.actions.energy_pricing import intervals_of, price_firing_energy, versions_for
from billing.actions.ledger import day_words
from billing.actions.tariffs import tariff_on
from billing.actions.wear_lines import wear_of
from billing.models import BillingPolicy, CostKind, TariffVersion
from billing.refusals import BillingRefusal
from firings.models import Booking, Firing, KilnPart
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
    versions = versions_for(intervals_of(firing, at), studio)
    if tariff is None or not versions:
        raise BillingRefusal(
            "tariff_missing",
            f"No electricity tariff holds on {day_words(day)}, when {firing} started. The "
            "treasurer must enter one that holds from that day or earlier.",
        )
    price = price_firing_energy(firing, versions, at, studio)
    return PoolLine(CostKind.ENERGY, CostKind.ENERGY.label, price.amount_minor, price.working)
