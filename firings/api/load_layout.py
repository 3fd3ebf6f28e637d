"""The layers of a load as one reader may see them."""

from __future__ import annotations

from typing import Any

from firings.models import Booking, Firing, Layer, Placement
from studio.models import Person


def layers_of(firing: Firing, reader: Person) -> list[dict[str, Any]]:
    """Each layer with what stands on it; other members' ware without slip and name."""
    layers = firing.layers.select_related("shelf_set").prefetch_related("placements__piece")
    seen = Booking.objects.visible_to(reader).filter(firing=firing)
    slips = dict(seen.values_list("pk", "slip"))
    return [_layer(layer, slips) for layer in layers]


def _layer(layer: Layer, slips: dict[int, str]) -> dict[str, Any]:
    return {
        "stack": layer.stack,
        "position": layer.position,
        "posts_mm": layer.posts_mm,
        "shelf_bottom_mm": layer.shelf_bottom_mm,
        "shelf_shape": layer.shelf_set.shape,
        "shelf_across_mm": layer.shelf_set.across_mm,
        "shelf_depth_mm": layer.shelf_set.depth_mm,
        "cone_pack": layer.cone_pack,
        "placements": [_placement(one, slips) for one in layer.placements.all()],
    }


def _placement(placement: Placement, slips: dict[int, str]) -> dict[str, Any]:
    piece = placement.piece
    slip = slips.get(piece.booking_id)
    return {
        "piece": piece.pk,
        "slip": slip,
        "name": piece.name if slip else None,
        "shape": piece.shape,
        "across_mm": piece.across_mm,
        "depth_mm": piece.depth_mm,
        "height_mm": piece.height_mm,
        "x_mm": placement.x_mm,
        "y_mm": placement.y_mm,
        "turn_deg": placement.turn_deg,
        "quadrants": placement.quadrants,
        "carried_by": placement.carried_by_id,
        "stands": placement.get_stands_display(),
    }
