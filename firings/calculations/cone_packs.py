"""The cone packs of a firing, layer by layer: what was reached where, and how evenly.

Layers count from 1 at the bottom. Heights in mm above the chamber's floor, temperatures in C.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from statistics import fmean

from firings.calculations.cones import CONES, cone_rank
from firings.calculations.witness_cones import (
    ConeBend,
    MeasuredCone,
    difference_in_cones,
    measured_cone,
)


@dataclass(frozen=True)
class ConeFound:
    """A cone as it was found on a layer, at a position of it ("" where nobody told them apart)."""

    layer: int
    position: str
    cone: str
    bend: float


@dataclass(frozen=True)
class MeasuredPack:
    """What the cones of one place on one layer reached."""

    layer: int
    position: str
    measured: MeasuredCone


@dataclass(frozen=True)
class MeasuredLayer:
    """One layer's temperature from its packs: their mean, and how far they or the truth may be."""

    layer: int
    temp_c: float
    either_way_c: float


@dataclass(frozen=True)
class Evenness:
    """Top minus bottom, in C and in cones of the chart, with the range either way in C."""

    bottom_layer: int
    top_layer: int
    difference_c: float
    either_way_c: float
    difference_cones: float


def role_of(cone: str, aimed_at: str) -> str:
    """A cone's part in its pack: cooler than the aim is the guide, hotter the guard.

    Raises ValueError for an unknown cone.
    """
    difference = cone_rank(cone) - cone_rank(aimed_at)
    if difference == 0:
        return "firing"
    return "guide" if difference < 0 else "guard"


def pack_around(aimed_at: str) -> tuple[str, ...]:
    """Guide, firing cone and guard, one whole cone apart; fewer at the ends of the chart.

    Raises ValueError for an unknown cone.
    """
    cone_rank(aimed_at)
    whole = [cone for cone in CONES if cone == aimed_at or "." not in cone]
    place = whole.index(aimed_at)
    return tuple(whole[max(0, place - 1) : place + 2])


def measured_packs(found: Sequence[ConeFound]) -> tuple[MeasuredPack, ...]:
    """Return what each pack reached, from the bottom up. Raises ValueError as measured_cone."""
    ordered = sorted(found, key=_place)
    return tuple(
        MeasuredPack(*place, measured_cone([ConeBend(one.cone, one.bend) for one in pack]))
        for place, pack in groupby(ordered, key=_place)
    )


def measured_layers(packs: Sequence[MeasuredPack]) -> tuple[MeasuredLayer, ...]:
    """Return the layers whose packs bracketed what was reached, from the bottom up."""
    by_layer: dict[int, list[MeasuredCone]] = {}
    for pack in packs:
        if pack.measured.middle_c is not None and not pack.measured.contradicts:
            by_layer.setdefault(pack.layer, []).append(pack.measured)
    return tuple(_as_layer(layer, cones) for layer, cones in sorted(by_layer.items()))


def near_height(
    layers: Sequence[MeasuredLayer], heights_mm: dict[int, float], height_mm: float
) -> MeasuredLayer | None:
    """Return the measured layer nearest to a height; without heights the middle one."""
    if not layers:
        return None
    if all(layer.layer in heights_mm for layer in layers):
        return min(layers, key=lambda one: abs(heights_mm[one.layer] - height_mm))
    return layers[(len(layers) - 1) // 2]


def evenness(layers: Sequence[MeasuredLayer]) -> Evenness | None:
    """Return top minus bottom; None unless two layers were measured."""
    if len(layers) < 2:
        return None
    bottom, top = layers[0], layers[-1]
    return Evenness(
        bottom_layer=bottom.layer,
        top_layer=top.layer,
        difference_c=top.temp_c - bottom.temp_c,
        either_way_c=top.either_way_c + bottom.either_way_c,
        difference_cones=difference_in_cones(top.temp_c, bottom.temp_c),
    )


def _place(found: ConeFound) -> tuple[int, str]:
    return found.layer, found.position


def _as_layer(layer: int, cones: Sequence[MeasuredCone]) -> MeasuredLayer:
    middles = [cone.middle_c or 0.0 for cone in cones]
    widest_c = max(cone.either_way_c or 0.0 for cone in cones)
    spread_c = (max(middles) - min(middles)) / 2
    return MeasuredLayer(layer, fmean(middles), max(widest_c, spread_c))
