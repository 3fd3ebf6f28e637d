"""A kiln's trends, from the small records its closed firings left: no log is read."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time

from django.db.models import Sum

from firings.actions.firing_health import power_factor_of
from firings.calculations.kiln_health import (
    ElementWear,
    FiringSign,
    Trend,
    element_wear,
    resistance_ohm,
    trend_of,
)
from firings.calculations.kiln_offset import (
    Offset,
    OffsetAdvice,
    OffsetRun,
    PartChange,
    offset_advice,
    offset_runs,
)
from firings.models import Firing, FiringHealth, FiringState, Kiln, KilnPart, PartKind
from studio.models import Studio

FIRINGS_SHOWN = 60
# A new thermocouple reads otherwise; new elements heat otherwise.
BEGIN_ANEW = (PartKind.THERMOCOUPLE, PartKind.ELEMENT)


@dataclass(frozen=True)
class FiringTold:
    """What one closed firing told. `resistance_ohm` is that of all elements, at the plate's
    voltage; what is not known is None."""

    firing: int
    started_at: datetime
    stage: str
    cone: str
    is_empty: bool
    energy_wh: int | None
    rate_c_per_h: float | None
    power_w: float | None
    resistance_ohm: float | None
    relay_cycles: int | None
    load_kg: float | None
    offset_c: float | None
    offset_either_way_c: float | None
    cones_layer: int | None
    top_minus_bottom_c: float | None


@dataclass(frozen=True)
class KilnTrends:
    """The last firings, oldest first, and what they amount to.

    Trends of rate, energy and resistance are of the present elements only. `relay_cycles` counts
    since the present relays were fitted, and only what logs show.
    """

    firings: tuple[FiringTold, ...]
    changes: tuple[PartChange, ...]
    elements_since: date | None
    offset_runs: tuple[OffsetRun, ...]
    offset_advice: OffsetAdvice | None
    rate: Trend | None
    energy: Trend | None
    resistance: Trend | None
    wear: ElementWear
    power_factor: float
    relay_cycles: int
    relays_since: date | None
    witness_days: int | None
    witness_firings: int


def kiln_trends(kiln: Kiln, *, at: datetime) -> KilnTrends:
    """Return what the kiln's closed firings tell, in a fixed number of queries."""
    told = _firings_told(kiln)
    parts = list(kiln.parts.all())
    changes = _changes(parts)
    elements_since = _fitted_on(parts, PartKind.ELEMENT)
    relays_since = _fitted_on(parts, PartKind.RELAY)
    runs = offset_runs(_offsets(told), changes)
    zone = Studio.current().zone
    like = [
        one
        for one in told
        if not one.is_empty
        and (elements_since is None or one.started_at.astimezone(zone).date() >= elements_since)
    ]
    rate = _trend(like, lambda one: one.rate_c_per_h)
    resistance = _trend(like, lambda one: one.resistance_ohm)
    witness_days, witness_firings = _since_witness_cone(kiln, at)
    return KilnTrends(
        firings=told,
        changes=changes,
        elements_since=elements_since,
        offset_runs=runs,
        offset_advice=offset_advice(runs),
        rate=rate,
        energy=_trend(like, lambda one: one.energy_wh),
        resistance=resistance,
        wear=element_wear(resistance, rate),
        power_factor=power_factor_of(kiln),
        relay_cycles=_relay_cycles(kiln, relays_since),
        relays_since=relays_since,
        witness_days=witness_days,
        witness_firings=witness_firings,
    )


def _firings_told(kiln: Kiln) -> tuple[FiringTold, ...]:
    latest = (
        FiringHealth.objects.filter(firing__kiln=kiln, firing__state=FiringState.CLOSED)
        .select_related("firing")
        .order_by("-firing__started_at", "-firing")
    )
    told = [_told(kiln, health) for health in latest[:FIRINGS_SHOWN]]
    return tuple(reversed(told))


def _told(kiln: Kiln, health: FiringHealth) -> FiringTold:
    firing, power_w = health.firing, health.full_power_w
    return FiringTold(
        firing=firing.pk,
        started_at=firing.started_at or firing.planned_for,
        stage=firing.stage,
        cone=firing.cone,
        is_empty=firing.is_empty_first_firing,
        energy_wh=firing.energy_wh,
        rate_c_per_h=health.full_power_rate_c_per_h,
        power_w=power_w,
        resistance_ohm=resistance_ohm(power_w, kiln.supply_v) if power_w else None,
        relay_cycles=health.relay_cycles,
        load_kg=health.load_kg,
        offset_c=health.offset_c,
        offset_either_way_c=health.cones_either_way_c,
        cones_layer=health.cones_layer,
        top_minus_bottom_c=health.top_minus_bottom_c,
    )


def _changes(parts: Sequence[KilnPart]) -> tuple[PartChange, ...]:
    """When a thermocouple or elements were replaced: from the morning of that day on."""
    zone = Studio.current().zone
    return tuple(
        PartChange(datetime.combine(part.retired_on, time(), tzinfo=zone), part.name)
        for part in sorted(parts, key=lambda part: part.retired_on or date.max)
        if part.retired_on and part.kind in BEGIN_ANEW
    )


def _fitted_on(parts: Sequence[KilnPart], kind: PartKind) -> date | None:
    days = [part.fitted_on for part in parts if part.kind == kind and not part.retired_on]
    return max(days, default=None)


def _offsets(told: Sequence[FiringTold]) -> list[Offset]:
    return [
        Offset(one.started_at, one.offset_c, one.offset_either_way_c or 0.0)
        for one in told
        if one.offset_c is not None
    ]


def _trend(
    told: Sequence[FiringTold], value_of: Callable[[FiringTold], float | None]
) -> Trend | None:
    return trend_of(
        [
            FiringSign(one.started_at, (one.stage, one.cone), value)
            for one in told
            if (value := value_of(one))
        ]
    )


def _relay_cycles(kiln: Kiln, since: date | None) -> int:
    counted = FiringHealth.objects.filter(firing__kiln=kiln)
    if since is not None:
        counted = counted.filter(firing__started_at__date__gte=since)
    return counted.aggregate(cycles=Sum("relay_cycles"))["cycles"] or 0


def _since_witness_cone(kiln: Kiln, at: datetime) -> tuple[int | None, int]:
    """Days and closed firings since a witness cone was read; None and all of them when never."""
    closed = Firing.objects.filter(kiln=kiln, state=FiringState.CLOSED)
    last = closed.filter(witness_cones__isnull=False).order_by("-started_at").first()
    if last is None or last.started_at is None:
        return None, closed.count()
    read_at = last.opened_at or last.started_at
    return (at - read_at).days, closed.filter(started_at__gt=last.started_at).count()
