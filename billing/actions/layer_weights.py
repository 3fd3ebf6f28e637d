"""Where the charged area of a firing's bookings stood, and how high each layer was."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

from billing.calculations.sharing_rules import OnLayer, StoodOn, areas_on_layers, layer_heights
from firings.actions.kiln_space import footprint_of, stacks_of
from firings.calculations.footprints import area_mm2
from firings.models import Booking, Firing, Layer, Placement


@dataclass(frozen=True)
class LayerWeights:
    """By booking, its area on each layer; `usable_mm3` is all shelves times their heights."""

    standing: dict[int, tuple[OnLayer, ...]]
    usable_mm3: int
    names: dict[int, str]

    def weight_mm3(self, booking: Booking) -> int:
        return sum(one.weight_mm3 for one in self.standing[booking.pk])


def layer_weights(firing: Firing, bookings: Sequence[Booking]) -> LayerWeights | None:
    """None where it is not known on which layer, or how high, a booking's ware stood."""
    layers = list(firing.layers.select_related("shelf_set").order_by("stack", "position"))
    heights_mm = _heights_mm(layers, firing)
    pieces = _pieces_mm2(firing)
    stood = [
        StoodOn(booking.pk, booking.charged_area_mm2, pieces.get(booking.pk, {}))
        for booking in bookings
    ]
    standing = areas_on_layers(stood, heights_mm)
    if standing is None:
        return None
    usable_mm3 = sum(
        stacks_of(layer.shelf_set, firing.kiln.post_width_mm)[0].shelf.area_mm2
        * max(heights_mm[layer.pk], 0)
        for layer in layers
    )
    return LayerWeights(standing, usable_mm3, {layer.pk: _name(layer) for layer in layers})


def _heights_mm(layers: Sequence[Layer], firing: Firing) -> dict[int, int]:
    by_stack: dict[str, list[tuple[int, int, int]]] = defaultdict(list)
    for layer in layers:
        shelf = (layer.pk, layer.shelf_bottom_mm, layer.shelf_set.thickness_mm)
        by_stack[layer.stack].append(shelf)
    heights: dict[int, int] = {}
    for shelves in by_stack.values():
        heights |= layer_heights(shelves, firing.kiln.chamber_height_mm)
    return heights


def _pieces_mm2(firing: Firing) -> dict[int, dict[int, int]]:
    """By booking and layer, the footprints that stand there; quarters of a shelf count as one."""
    found: dict[int, dict[int, int]] = defaultdict(lambda: defaultdict(int))
    placements = Placement.objects.filter(layer__firing=firing).select_related("piece")
    for placement in placements.order_by("pk"):
        footprint = footprint_of(placement.piece)
        area = len(placement.quadrants) or 1 if footprint is None else area_mm2(footprint)
        found[placement.piece.booking_id][placement.layer_id] += area
    return found


def _name(layer: Layer) -> str:
    """As crew count them; of half shelves with the side."""
    return f"{layer.position}" if layer.stack == "whole" else f"{layer.position} {layer.stack}"
