"""What a firing tells of its kiln's health, written down once, when the firing is closed."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from firings.actions.energy_explained import ware_of
from firings.actions.log_summary import summary_of
from firings.calculations.cone_packs import (
    ConeFound,
    MeasuredPack,
    evenness,
    measured_layers,
    measured_packs,
    near_height,
)
from firings.calculations.energy import INTERVAL_METER, METER_REGISTER
from firings.calculations.kiln_health import (
    full_power,
    power_factor,
    power_from_meter,
    relay_cycles,
)
from firings.calculations.log_heat import log_heat_c
from firings.calculations.readings import Reading as Moment
from firings.models import Firing, FiringHealth, Kiln, KilnPart, Layer, PartKind, WitnessCone

METERED = (METER_REGISTER, INTERVAL_METER)
POWER_FIRINGS = 6


def packs_of(cones: Iterable[WitnessCone]) -> tuple[MeasuredPack, ...]:
    """What the witness cones say, pack by pack, from the bottom up."""
    return measured_packs(
        [ConeFound(one.layer, one.position, one.cone, float(one.bend)) for one in cones]
    )


def keep_health_of(firing: Firing, readings: list[Moment], *, at: datetime) -> FiringHealth:
    """Work out and keep what this firing tells; the caller holds it and is closing it."""
    summary = summary_of(firing)
    kiln, layers = firing.kiln, list(firing.layers.select_related("shelf_set"))
    shown = full_power(readings, kiln.rated_power_w)
    measured = measured_layers(packs_of(firing.witness_cones.all()))
    near = near_height(measured, _cone_heights_mm(layers), _thermocouple_mm(kiln))
    even = evenness(measured)
    return FiringHealth.objects.create(
        firing=firing,
        full_power_rate_c_per_h=shown.rate_c_per_h,
        full_power_w=shown.power_w or _metered_power_w(firing, readings),
        relay_cycles=relay_cycles(readings, kiln.rated_power_w),
        load_kg=None if firing.is_empty_first_firing else round(ware_of(firing, layers).kg, 2),
        log_heat_c=log_heat_c(summary.heat, summary.peak_c),
        cones_layer=near.layer if near else None,
        cones_c=near.temp_c if near else None,
        cones_either_way_c=near.either_way_c if near else None,
        top_minus_bottom_c=even.difference_c if even else None,
        worked_out_at=at,
    )


def power_factor_of(kiln: Kiln) -> float:
    """What the elements still give, as a part of the rated power: from this set's last firings."""
    known = FiringHealth.objects.filter(firing__kiln=kiln, full_power_w__gt=0)
    fitted_on = (
        KilnPart.objects.filter(kiln=kiln, kind=PartKind.ELEMENT, retired_on=None)
        .order_by("-fitted_on")
        .values_list("fitted_on", flat=True)
        .first()
    )
    if fitted_on is not None:
        known = known.filter(firing__started_at__date__gte=fitted_on)
    latest = known.order_by("-firing__started_at").values_list("full_power_w", flat=True)
    measured_w = [power_w for power_w in latest[:POWER_FIRINGS] if power_w]
    return power_factor(measured_w[::-1], kiln.rated_power_w)


def _metered_power_w(firing: Firing, readings: list[Moment]) -> float | None:
    """Where no power is logged: what the meter counted, over the hours that duty amounts to."""
    if firing.energy_source not in METERED or not firing.energy_wh:
        return None
    return power_from_meter(readings, firing.energy_wh)


def _cone_heights_mm(layers: Iterable[Layer]) -> dict[int, float]:
    """Where the shelf of each layer has its top; of halved shelves, the mean of both."""
    tops: dict[int, list[int]] = {}
    for layer in layers:
        top_mm = layer.shelf_bottom_mm + layer.shelf_set.thickness_mm
        tops.setdefault(layer.position, []).append(top_mm)
    return {layer: sum(mm) / len(mm) for layer, mm in tops.items()}


def _thermocouple_mm(kiln: Kiln) -> float:
    """Half the chamber's height where nobody wrote it down: common practice, no source."""
    return kiln.thermocouple_height_mm or kiln.chamber_height_mm / 2
