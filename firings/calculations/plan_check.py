"""Whether a planned load can be made exactly as written.

Written apart from the planner, with geometry of its own: footprints are convex cores (a point or
four corners) with a radius, and distances are those between cores. What the planner believes is
never asked. Lengths are mm and may be wrong by 0.01 mm, which only absorbs rounding.
"""

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise

from firings.calculations.footprints import Disc, Footprint
from firings.calculations.kiln_space import LEAST_POSTS, KilnSpace, Stack
from firings.calculations.load_plan import (
    CONE_PACK,
    CONE_PACK_HEIGHT_MM,
    LoadPiece,
    LoadPlan,
    Placement,
    PlannedLayer,
)
from firings.calculations.shelves import Chamber, Shelf

TOLERANCE_MM = 0.01
Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Thing:
    """Something that stands on a shelf."""

    name: str
    core: tuple[Point, ...]
    radius_mm: float
    low_mm: float
    height_mm: int
    where: str


def check_load(
    space: KilnSpace, pieces: Sequence[LoadPiece], plan: LoadPlan, gap_mm: float
) -> tuple[str, ...]:
    """Every reason why a plan cannot be carried out, one sentence each; empty when it can.

    `pieces`: everything that was to be planned; each must stand on one shelf, or be left out, once.
    """
    return tuple(_faults(space, {piece.id: piece for piece in pieces}, plan, gap_mm))


def _faults(
    space: KilnSpace, pieces: dict[str, LoadPiece], plan: LoadPlan, gap_mm: float
) -> Iterator[str]:
    yield from _counting_faults(pieces, plan)
    stacks = {stack.name: stack for stack in space.stacks}
    for name in sorted({layer.stack for layer in plan.layers} - set(stacks)):
        yield f"This kiln has no tower of shelves called {name}."
    things: list[_Thing] = []
    for stack in space.stacks:
        layers = sorted(
            (la for la in plan.layers if la.stack == stack.name), key=lambda la: la.index
        )
        yield from _tower_faults(space, stack, layers)
        for number, layer in enumerate(layers):
            above = layers[number + 1] if number + 1 < len(layers) else None
            on_it = list(_things_on(stack, layer, pieces))
            things += on_it
            yield from _layer_faults(space, stack, layer, above, on_it)
            yield from _quarter_faults(space, stack, layer, above, pieces)
            yield from _intruders(stack, layer, on_it, gap_mm)
    yield from _gap_faults(things, gap_mm)


def _where(layer: PlannedLayer) -> str:
    return f"shelf {layer.index} of {layer.stack}"


def _counting_faults(pieces: dict[str, LoadPiece], plan: LoadPlan) -> Iterator[str]:
    """Pieces that are unknown, twice in the plan, nowhere, or the wrong kind of thing."""
    on_shelves = [put.piece_id for layer in plan.layers for put in layer.placements]
    in_quarters = [piece_id for layer in plan.layers for piece_id, _ in layer.fractions]
    left_out = [left.piece_id for left in plan.left_out]
    counted = Counter(on_shelves + in_quarters + left_out)
    for piece_id, count in counted.items():
        if piece_id not in pieces:
            yield f"{piece_id} is in the plan but was not to be planned."
        elif count > 1:
            yield f"{piece_id} is in the plan {count} times."
    for piece_id in pieces:
        if piece_id not in counted:
            yield f"{piece_id} is neither on a shelf nor left out."
    for piece_id in on_shelves:
        if piece_id in pieces and pieces[piece_id].footprint is None:
            yield f"{piece_id} is a booked part of a shelf and cannot stand as a piece."
    for piece_id in in_quarters:
        if piece_id in pieces and pieces[piece_id].fraction is None:
            yield f"{piece_id} is a piece and cannot take quarters of a shelf."


# ---- towers: posts, heights, numbers of shelves


def _tower_faults(space: KilnSpace, stack: Stack, layers: list[PlannedLayer]) -> Iterator[str]:
    if len(layers) > stack.shelves_count:
        yield (
            f"{stack.name} needs {len(layers)} shelves; "
            f"the studio has {stack.shelves_count} for it."
        )
    if len(layers) > 1 and len(stack.post_places_mm) < LEAST_POSTS:
        yield (
            f"{stack.name} has places for {len(stack.post_places_mm)} posts; "
            f"a shelf above another needs {LEAST_POSTS}."
        )
    if [layer.index for layer in layers] != list(range(1, len(layers) + 1)):
        yield f"The shelves of {stack.name} are not numbered 1 to {len(layers)} from the bottom."
    surface_mm: float = 0
    for number, layer in enumerate(layers):
        yield from _post_faults(space, layer, is_lowest=number == 0)
        bottom_mm = surface_mm + sum(layer.post_mm)
        if abs(bottom_mm - layer.shelf_bottom_mm) > TOLERANCE_MM:
            yield (
                f"The underside of {_where(layer)} is given as {layer.shelf_bottom_mm} mm; "
                f"its posts carry it at {bottom_mm:g} mm."
            )
        surface_mm = bottom_mm + stack.shelf.thickness_mm
        if surface_mm > space.chamber.height_mm + TOLERANCE_MM:
            yield (
                f"The top of {_where(layer)} is at {surface_mm:g} mm; "
                f"the chamber is {space.chamber.height_mm} mm high."
            )


def _post_faults(space: KilnSpace, layer: PlannedLayer, is_lowest: bool) -> Iterator[str]:
    if not layer.post_mm:
        yield f"There are no posts under {_where(layer)}."
        return
    if len(layer.post_mm) > space.posts_stacked_at_most:
        yield (
            f"{len(layer.post_mm)} posts stand on top of each other under {_where(layer)}; "
            f"at most {space.posts_stacked_at_most} may."
        )
    for height_mm in sorted(set(layer.post_mm) - set(space.post_heights_mm)):
        yield f"The studio has no posts of {height_mm} mm, needed under {_where(layer)}."
    rise_mm = sum(layer.post_mm)
    if is_lowest and rise_mm < space.lowest_post_mm:
        yield (
            f"{_where(layer).capitalize()} stands {rise_mm} mm above the floor; "
            f"the bottom shelf needs at least {space.lowest_post_mm:g} mm."
        )


# ---- one layer: head-room, edges, wall, posts, booked quarters


def _things_on(stack: Stack, layer: PlannedLayer, pieces: dict[str, LoadPiece]) -> Iterator[_Thing]:
    low_mm = layer.shelf_bottom_mm + stack.shelf.thickness_mm
    for put in layer.placements:
        piece = pieces.get(put.piece_id)
        if piece is not None and piece.footprint is not None:
            core, radius_mm = _core(piece.footprint, put)
            yield _Thing(piece.id, core, radius_mm, low_mm, piece.height_mm, _where(layer))
    if layer.cone_pack is not None:
        core, radius_mm = _core(CONE_PACK, layer.cone_pack)
        name = "the cone pack"
        yield _Thing(name, core, radius_mm, low_mm, CONE_PACK_HEIGHT_MM, _where(layer))


def _core(footprint: Footprint, put: Placement) -> tuple[tuple[Point, ...], float]:
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


def _head_room_mm(
    space: KilnSpace, stack: Stack, layer: PlannedLayer, above: PlannedLayer | None
) -> float:
    ceiling_mm = space.chamber.height_mm if above is None else above.shelf_bottom_mm
    low_mm = layer.shelf_bottom_mm + stack.shelf.thickness_mm
    return ceiling_mm - low_mm - space.gap_above_mm


def _layer_faults(
    space: KilnSpace,
    stack: Stack,
    layer: PlannedLayer,
    above: PlannedLayer | None,
    things: Sequence[_Thing],
) -> Iterator[str]:
    free_mm = _head_room_mm(space, stack, layer, above)
    for thing in things:
        on = f"{thing.name} on {thing.where}"
        if thing.height_mm > free_mm + TOLERANCE_MM:
            yield f"{on} is {thing.height_mm} mm high; {free_mm:g} mm are free."
        over_mm = _beyond_mm(stack.shelf, thing)
        if over_mm > TOLERANCE_MM:
            yield f"{on} sticks out over the edge of the shelf by {over_mm:.2f} mm."
        near_mm = _beyond_mm(space.chamber, thing) + space.keep_from_wall_mm
        if near_mm > TOLERANCE_MM:
            yield f"{on} is {near_mm:.2f} mm too near the wall of the chamber."
        if above is not None:
            yield from _post_collisions(space, stack, thing)


def _post_collisions(space: KilnSpace, stack: Stack, thing: _Thing) -> Iterator[str]:
    for place in stack.post_places_mm:
        clear_mm = _core_distance_mm(thing.core, (place,)) - thing.radius_mm
        clear_mm -= space.post_width_mm / 2
        if clear_mm < space.gap_to_posts_mm - TOLERANCE_MM:
            yield (
                f"{thing.name} on {thing.where} is {clear_mm:.2f} mm from the post at "
                f"({place[0]:g}, {place[1]:g}); {space.gap_to_posts_mm:g} mm are needed."
            )


def _quarter_faults(
    space: KilnSpace,
    stack: Stack,
    layer: PlannedLayer,
    above: PlannedLayer | None,
    pieces: dict[str, LoadPiece],
) -> Iterator[str]:
    booked = Counter(quarter for _, quarters in layer.fractions for quarter in quarters)
    for quarter, count in sorted(booked.items()):
        if quarter not in range(4):
            yield f"{_where(layer).capitalize()} has no quarter {quarter}."
        elif count > 1:
            yield f"Quarter {quarter} of {_where(layer)} is taken {count} times."
    free_mm = _head_room_mm(space, stack, layer, above)
    for piece_id, quarters in layer.fractions:
        piece = pieces.get(piece_id)
        if piece is None or piece.fraction is None:
            continue
        if len(set(quarters)) != piece.fraction * 4:
            yield f"{piece_id} has {len(set(quarters))} quarters; it booked {piece.fraction} shelf."
        if len(quarters) == 2 and abs(quarters[0] - quarters[1]) not in (1, 3):
            yield f"The two quarters of {piece_id} on {_where(layer)} are not beside each other."
        if piece.height_mm > free_mm + TOLERANCE_MM:
            yield f"{piece_id} may be {piece.height_mm} mm high; {free_mm:g} mm are free."


def _intruders(
    stack: Stack, layer: PlannedLayer, things: Sequence[_Thing], gap_mm: float
) -> Iterator[str]:
    """Ware that stands in a booked quarter, or within half the spacing of it."""
    booked = {quarter for _, quarters in layer.fractions for quarter in quarters}
    for quarter in sorted(booked & set(range(4))):
        core = _quarter_core(stack.shelf, quarter)
        for thing in things:
            clear_mm = _core_distance_mm(thing.core, core) - thing.radius_mm
            if clear_mm < gap_mm / 2 - TOLERANCE_MM:
                yield f"{thing.name} on {thing.where} stands in quarter {quarter}, which is booked."


def _quarter_core(shelf: Shelf, quarter: int) -> tuple[Point, ...]:
    """The booked quarter, reaching far beyond the shelf, as four corners counter-clockwise."""
    x_mm, y_mm = shelf.quarter_lines_mm
    far_x = x_mm + (10_000 if quarter in (0, 3) else -10_000)
    far_y = y_mm + (10_000 if quarter in (0, 1) else -10_000)
    left, right = sorted((x_mm, far_x))
    front, back = sorted((y_mm, far_y))
    return ((left, front), (right, front), (right, back), (left, back))


def _gap_faults(things: Sequence[_Thing], gap_mm: float) -> Iterator[str]:
    for one, other in combinations(things, 2):
        apart_in_height = (
            one.low_mm >= other.low_mm + other.height_mm
            or other.low_mm >= one.low_mm + one.height_mm
        )
        if apart_in_height:
            continue
        clear_mm = _core_distance_mm(one.core, other.core) - one.radius_mm - other.radius_mm
        if clear_mm < -TOLERANCE_MM:
            yield f"{one.name} and {other.name} on {one.where} overlap by {-clear_mm:.2f} mm."
        elif clear_mm < gap_mm - TOLERANCE_MM:
            yield (
                f"{one.name} and {other.name} on {one.where} are {clear_mm:.2f} mm apart; "
                f"{gap_mm:g} mm are needed."
            )


# ---- geometry of its own


def _beyond_mm(shape: Shelf | Chamber, thing: _Thing) -> float:
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


def _core_distance_mm(one: tuple[Point, ...], other: tuple[Point, ...]) -> float:
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
