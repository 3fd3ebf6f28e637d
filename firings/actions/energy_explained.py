"""Where a firing's energy went: its load as the calculation takes it, and what came of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from firings.actions.kiln_space import footprint_of, fraction_of, stacks_of
from firings.calculations.cones import cone_equivalent_c
from firings.calculations.energy_balance import EnergyBalance, FiringHeat, energy_balance
from firings.calculations.load_weight import (
    StandingPiece,
    StandingShelf,
    Weight,
    furniture_weight,
    ware_weight,
    weighed,
)
from firings.models import Firing, FiringState, Kiln, Layer

CONE_RATE_C_PER_H = 60.0
EMPTY_FIRINGS_SHOWN = 3


@dataclass(frozen=True)
class EmptyFiring:
    """What the kiln used when nothing but its shelves stood in it."""

    closed_at: datetime
    cone: str
    energy_wh: int
    uncertainty_wh: int


@dataclass(frozen=True)
class EnergyExplained:
    """The balance, what it was reckoned from, and the kiln's empty firings, the latest first."""

    balance: EnergyBalance
    ware: Weight
    is_weighed: bool
    furniture: Weight
    peak_c: float
    is_peak_measured: bool
    empty: tuple[EmptyFiring, ...]


def explain_energy(firing: Firing) -> EnergyExplained | None:
    """Return where a closed firing's energy went; None while it is not closed or not known.

    Reads the load and a few rows of other firings, never a log.
    """
    if firing.state != FiringState.CLOSED or not firing.energy_wh:
        return None
    layers = list(firing.layers.select_related("shelf_set"))
    ware, furniture = ware_of(firing, layers), _furniture_of(firing, layers)
    peak_c = firing.log_peak_c or cone_equivalent_c(firing.cone, CONE_RATE_C_PER_H)
    if peak_c < cone_equivalent_c(firing.cone, CONE_RATE_C_PER_H) / 2:
        return None
    heat = FiringHeat(
        energy_wh=firing.energy_wh,
        uncertainty_wh=firing.energy_uncertainty_wh or 0,
        peak_c=peak_c,
        stage=firing.stage,
        ware=ware,
        furniture=furniture,
    )
    return EnergyExplained(
        balance=energy_balance(heat),
        ware=ware,
        is_weighed=firing.load_kg is not None,
        furniture=furniture,
        peak_c=peak_c,
        is_peak_measured=firing.log_peak_c is not None,
        empty=_empty_firings(firing.kiln),
    )


def ware_of(firing: Firing, layers: list[Layer]) -> Weight:
    """What the ware weighs: as it was weighed, else from outlines and heights."""
    if firing.load_kg is not None:
        return weighed(firing.load_kg)
    shelf_mm2 = max((_shelf_mm2(layer) for layer in layers), default=0)
    pieces = [
        StandingPiece(footprint_of(piece), piece.height_mm, fraction_of(booking), shelf_mm2)
        for booking in firing.bookings.prefetch_related("pieces")
        for piece in booking.pieces.all()
    ]
    return ware_weight(pieces)


def _furniture_of(firing: Firing, layers: list[Layer]) -> Weight:
    """The shelves of the load; an empty firing has all of the kiln's shelves in it."""
    if layers:
        return furniture_weight([_standing(firing.kiln, layer) for layer in layers])
    post_mm = min(firing.kiln.post_heights_mm, default=0)
    return furniture_weight(
        [
            StandingShelf(
                stack.shelf.area_mm2,
                stack.shelf.thickness_mm,
                (post_mm,),
                len(stack.post_places_mm),
                firing.kiln.post_width_mm,
            )
            for shelf_set in firing.kiln.shelf_sets.filter(is_standard=True)
            for stack in stacks_of(shelf_set, firing.kiln.post_width_mm)
            for _ in range(stack.shelves_count)
        ]
    )


def _standing(kiln: Kiln, layer: Layer) -> StandingShelf:
    stacks = {stack.name: stack for stack in stacks_of(layer.shelf_set, kiln.post_width_mm)}
    stack = stacks.get(layer.stack) or next(iter(stacks.values()))
    return StandingShelf(
        stack.shelf.area_mm2,
        stack.shelf.thickness_mm,
        tuple(layer.posts_mm),
        len(stack.post_places_mm),
        kiln.post_width_mm,
    )


def _shelf_mm2(layer: Layer) -> int:
    return stacks_of(layer.shelf_set, 1)[0].shelf.area_mm2


def _empty_firings(kiln: Kiln) -> tuple[EmptyFiring, ...]:
    empty = Firing.objects.filter(
        kiln=kiln, is_empty_first_firing=True, state=FiringState.CLOSED, energy_wh__gt=0
    ).order_by("-closed_at")
    rows = empty.values_list("closed_at", "cone", "energy_wh", "energy_uncertainty_wh")
    return tuple(
        EmptyFiring(closed_at, cone, wh, either_wh or 0)
        for closed_at, cone, wh, either_wh in rows[:EMPTY_FIRINGS_SHOWN]
        if closed_at and wh
    )
