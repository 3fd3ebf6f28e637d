"""What the check of a plan sees: things on shelves, with geometry of its own.

Footprints are convex cores (a point or four corners) with a radius, and distances are those
between cores. Lengths are mm.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise

from firings.calculations.footprints import Disc, Footprint
from firings.calculations.kiln_space import KilnSpace, Stack
from firings.calculations.load_plan import (
    CONE_PACK,
    CONE_PACK_HEIGHT_MM,
    LoadPiece,
    Placement,
    PlannedLayer,
)
from firings.calculations.shelves import Chamber, Shelf

TOLERANCE_MM = 0.01
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Thing:
    """Something that stands on a shelf."""

    name: str
    core: tuple[Point, ...]
    radius_mm: float
    low_mm: float
    height_mm: int
    where: str


@dataclass(frozen=True, slots=True)
class Names:
    """What sentences call a piece."""

    by_id: Mapping[str, str]

    def __getitem__(self, piece_id: str) -> str:
        return self.by_id.get(piece_id, piece_id)


def core_of(footprint: Footprint, put: Placement) -> tuple[tuple[Point, ...], float]:
    if isinstance(footprint, Disc):
        return ((put.x_mm, put.y_mm),), footprint.diameter_mm / 2
    turn = math.radians(put.turn_deg)
    across, along = footprint.width_mm / 2, footprint.depth_mm / 2
    corners = ((-across, -along), (across, -along), (across, along), (-across, along))
    return (
        tuple(
            (
                put.x_mm + x * math.cos(turn) - y * math.sin(turn),
                put.y_mm + x * math.sin(turn) + y * math.cos(turn),
            )
            for x, y in corners
        ),
        0.0,
    )


def head_room_mm(
    space: KilnSpace, stack: Stack, layer: PlannedLayer, above: PlannedLayer | None
) -> float:
    ceiling_mm = space.chamber.height_mm if above is None else above.shelf_bottom_mm
    low_mm = layer.shelf_bottom_mm + stack.shelf.thickness_mm
    return ceiling_mm - low_mm - space.gap_above_mm


def quarter_core(shelf: Shelf, quarter: int) -> tuple[Point, ...]:
    """The booked quarter, reaching far beyond the shelf, as four corners counter-clockwise."""
    x_mm, y_mm = shelf.quarter_lines_mm
    far_x = x_mm + (10_000 if quarter in (0, 3) else -10_000)
    far_y = y_mm + (10_000 if quarter in (0, 1) else -10_000)
    left, right = sorted((x_mm, far_x))
    front, back = sorted((y_mm, far_y))
    return ((left, front), (right, front), (right, back), (left, back))


def where_of(layer: PlannedLayer) -> str:
    """Layer 2, and of several towers the one it belongs to."""
    return level_words(layer.stack, layer.index)


def level_words(stack: str, index: int) -> str:
    return f"layer {index}" if stack == "whole" else f"layer {index} on the {stack}"


def things_on(
    stack: Stack, layer: PlannedLayer, pieces: dict[str, LoadPiece], named: Names
) -> Iterator[Thing]:
    low_mm = layer.shelf_bottom_mm + stack.shelf.thickness_mm
    for put in layer.placements:
        piece = pieces.get(put.piece_id)
        if piece is not None and piece.footprint is not None:
            core, radius_mm = core_of(piece.footprint, put)
            name = named[piece.id]
            yield Thing(name, core, radius_mm, low_mm, piece.height_mm, where_of(layer))
    if layer.cone_pack is not None:
        core, radius_mm = core_of(CONE_PACK, layer.cone_pack)
        name = "the cone pack"
        yield Thing(name, core, radius_mm, low_mm, CONE_PACK_HEIGHT_MM, where_of(layer))


def beyond_mm(shape: Shelf | Chamber, thing: Thing) -> float:
    """How far something sticks out of a shelf or chamber; negative when it is well inside."""
    return max(_point_beyond_mm(shape, point) for point in thing.core) + thing.radius_mm


def _point_beyond_mm(shape: Shelf | Chamber, point: Point) -> float:
    x_mm, y_mm = point
    if shape.shape == "octagon":
        half = (shape.across_flats_mm or 0) / 2
        slant = (abs(x_mm) + abs(y_mm)) * math.sqrt(0.5)
        return max(abs(x_mm), abs(y_mm), slant) - half
    if shape.shape == "rectangle":
        middle_x, middle_y = shape.centre_mm if isinstance(shape, Shelf) else (0.0, 0.0)
        beyond_x = abs(x_mm - middle_x) - (shape.width_mm or 0) / 2
        return max(beyond_x, abs(y_mm - middle_y) - (shape.depth_mm or 0) / 2)
    beyond = math.hypot(x_mm, y_mm) - (shape.diameter_mm or 0) / 2
    if isinstance(shape, Shelf) and shape.shape == "half_round":
        past_cut = shape.cut_at_mm - x_mm if shape.side == "right" else x_mm - shape.cut_at_mm
        return max(beyond, past_cut)
    return beyond


def core_distance_mm(one: tuple[Point, ...], other: tuple[Point, ...]) -> float:
    """Between two convex cores; negative, by how much they interlock, when they overlap."""
    interlock = _interlock_mm(one, other)
    if interlock > 0:
        return -interlock
    return min(_nearest_mm(one, other), _nearest_mm(other, one))


def _nearest_mm(corners: tuple[Point, ...], outline: tuple[Point, ...]) -> float:
    """From the nearest of some corners to an outline."""
    sides = list(pairwise((*outline, outline[0])))
    return min(_point_to_side_mm(corner, *side) for corner in corners for side in sides)


def _point_to_side_mm(point: Point, start: Point, end: Point) -> float:
    side = (end[0] - start[0], end[1] - start[1])
    length_squared = side[0] ** 2 + side[1] ** 2
    if length_squared == 0:
        return math.dist(point, start)
    along = (point[0] - start[0]) * side[0] + (point[1] - start[1]) * side[1]
    share = min(1.0, max(0.0, along / length_squared))
    return math.dist(point, (start[0] + share * side[0], start[1] + share * side[1]))


def _interlock_mm(one: tuple[Point, ...], other: tuple[Point, ...]) -> float:
    """The least overlap along any side's normal (separating axes); 0 or less when apart."""
    least = math.inf
    for start, end in [*pairwise((*one, one[0])), *pairwise((*other, other[0]))]:
        length = math.dist(start, end)
        if length == 0:
            continue
        normal = ((end[1] - start[1]) / length, (start[0] - end[0]) / length)
        first = [normal[0] * x + normal[1] * y for x, y in one]
        second = [normal[0] * x + normal[1] * y for x, y in other]
        least = min(least, max(first) - min(second), max(second) - min(first))
    return 0.0 if least == math.inf else least
