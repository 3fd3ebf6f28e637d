"""Whether a planned load can be made exactly as written.

Written apart from the planner, with geometry of its own: footprints are convex cores (a point or
four corners) with a radius, and distances are those between cores. What the planner believes is
never asked. Lengths are mm and may be wrong by 0.01 mm, which only absorbs rounding.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from firings.calculations.bisque_bundles import Bundle
from firings.calculations.bundle_check import bundle_faults
from firings.calculations.held_check import held_faults
from firings.calculations.kiln_space import LEAST_POSTS, KilnSpace, Stack
from firings.calculations.load_plan import LoadPiece, LoadPlan, PlannedLayer
from firings.calculations.plan_geometry import (
    TOLERANCE_MM,
    Names,
    Thing,
    beyond_mm,
    core_distance_mm,
    head_room_mm,
    quarter_core,
    things_on,
    where_of,
)
from firings.calculations.planning.problem import Held


def check_load(
    space: KilnSpace,
    pieces: Sequence[LoadPiece],
    plan: LoadPlan,
    gap_mm: float,
    *,
    held: Held | None = None,
    names: Mapping[str, str] | None = None,
    bundles: Sequence[Bundle] = (),
) -> tuple[str, ...]:
    """Every reason why a plan cannot be carried out, one sentence each; empty when it can.

    `pieces`: everything that was to be planned; each must stand on one shelf, or be left out, once.
    `held`: what crew have decided; the plan must keep to it. `names`: what the sentences call a
    piece, by its id. `bundles`: pieces that go in as one; `pieces` then has the bundle under the
    number of its first member, and the bundle must be as large as its members need.
    """
    named = Names(names or {})
    by_id = {piece.id: piece for piece in pieces}
    faults = list(_faults(space, by_id, plan, gap_mm, named))
    if held is not None:
        faults += held_faults(space, by_id, plan, gap_mm, held, named)
    faults += bundle_faults(by_id, bundles, named)
    return tuple(faults)


def _faults(
    space: KilnSpace, pieces: dict[str, LoadPiece], plan: LoadPlan, gap_mm: float, named: Names
) -> Iterator[str]:
    yield from _counting_faults(pieces, plan, named)
    stacks = {stack.name: stack for stack in space.stacks}
    for name in sorted({layer.stack for layer in plan.layers} - set(stacks)):
        yield f"This kiln has no tower of shelves called {name}."
    things: list[Thing] = []
    for stack in space.stacks:
        layers = sorted(
            (la for la in plan.layers if la.stack == stack.name), key=lambda la: la.index
        )
        yield from _tower_faults(space, stack, layers)
        for number, layer in enumerate(layers):
            above = layers[number + 1] if number + 1 < len(layers) else None
            on_it = list(things_on(stack, layer, pieces, named))
            things += on_it
            yield from _layer_faults(space, stack, layer, above, on_it)
            yield from _quarter_faults(space, stack, layer, above, pieces, named)
            yield from _intruders(stack, layer, on_it, gap_mm)
    yield from _gap_faults(things, gap_mm)


def _counting_faults(pieces: dict[str, LoadPiece], plan: LoadPlan, named: Names) -> Iterator[str]:
    """Pieces that are unknown, twice in the plan, nowhere, or the wrong kind of thing."""
    on_shelves = [put.piece_id for layer in plan.layers for put in layer.placements]
    in_quarters = [piece_id for layer in plan.layers for piece_id, _ in layer.fractions]
    left_out = [left.piece_id for left in plan.left_out]
    counted = Counter(on_shelves + in_quarters + left_out)
    for piece_id, count in counted.items():
        if piece_id not in pieces:
            yield f"{named[piece_id]} is in the plan but was not to be planned."
        elif count > 1:
            yield f"{named[piece_id]} is in the plan {count} times."
    for piece_id in pieces:
        if piece_id not in counted:
            yield f"{named[piece_id]} is neither on a shelf nor left out."
    for piece_id in on_shelves:
        if piece_id in pieces and pieces[piece_id].footprint is None:
            yield f"{named[piece_id]} is a booked part of a shelf and cannot stand as a piece."
    for piece_id in in_quarters:
        if piece_id in pieces and pieces[piece_id].fraction is None:
            yield f"{named[piece_id]} is a piece and cannot take quarters of a shelf."


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
                f"The underside of {where_of(layer)} is given as {layer.shelf_bottom_mm} mm; "
                f"its posts carry it at {bottom_mm:g} mm."
            )
        surface_mm = bottom_mm + stack.shelf.thickness_mm
        if surface_mm > space.chamber.height_mm + TOLERANCE_MM:
            yield (
                f"The top of {where_of(layer)} is at {surface_mm:g} mm; "
                f"the chamber is {space.chamber.height_mm} mm high."
            )


def _post_faults(space: KilnSpace, layer: PlannedLayer, is_lowest: bool) -> Iterator[str]:
    if not layer.post_mm:
        yield f"There are no posts under {where_of(layer)}."
        return
    if len(layer.post_mm) > space.posts_stacked_at_most:
        yield (
            f"{len(layer.post_mm)} posts stand on top of each other under {where_of(layer)}; "
            f"at most {space.posts_stacked_at_most} may."
        )
    for height_mm in sorted(set(layer.post_mm) - set(space.post_heights_mm)):
        yield f"The studio has no posts of {height_mm} mm, needed under {where_of(layer)}."
    rise_mm = sum(layer.post_mm)
    if is_lowest and rise_mm < space.lowest_post_mm:
        yield (
            f"{where_of(layer).capitalize()} stands {rise_mm} mm above the floor; "
            f"the bottom shelf needs at least {space.lowest_post_mm:g} mm."
        )


# ---- one layer: head-room, edges, wall, posts, booked quarters


def _layer_faults(
    space: KilnSpace,
    stack: Stack,
    layer: PlannedLayer,
    above: PlannedLayer | None,
    things: Sequence[Thing],
) -> Iterator[str]:
    free_mm = head_room_mm(space, stack, layer, above)
    for thing in things:
        on = f"{thing.name} on {thing.where}"
        if thing.height_mm > free_mm + TOLERANCE_MM:
            yield f"{on} is {thing.height_mm} mm high; {free_mm:g} mm are free."
        over_mm = beyond_mm(stack.shelf, thing)
        if over_mm > TOLERANCE_MM:
            yield f"{on} sticks out over the edge of the shelf by {over_mm:.2f} mm."
        near_mm = beyond_mm(space.chamber, thing) + space.keep_from_wall_mm
        if near_mm > TOLERANCE_MM:
            yield f"{on} is {near_mm:.2f} mm too near the wall of the chamber."
        if above is not None:
            yield from _post_collisions(space, stack, thing)


def _post_collisions(space: KilnSpace, stack: Stack, thing: Thing) -> Iterator[str]:
    for place in stack.post_places_mm:
        clear_mm = core_distance_mm(thing.core, (place,)) - thing.radius_mm
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
    named: Names,
) -> Iterator[str]:
    booked = Counter(quarter for _, quarters in layer.fractions for quarter in quarters)
    for quarter, count in sorted(booked.items()):
        if quarter not in range(4):
            yield f"{where_of(layer).capitalize()} has no quarter {quarter}."
        elif count > 1:
            yield f"Quarter {quarter} of {where_of(layer)} is taken {count} times."
    free_mm = head_room_mm(space, stack, layer, above)
    for piece_id, quarters in layer.fractions:
        piece = pieces.get(piece_id)
        if piece is None or piece.fraction is None:
            continue
        if len(set(quarters)) != piece.fraction * 4:
            yield (
                f"{named[piece_id]} has {len(set(quarters))} quarters; "
                f"it booked {piece.fraction} shelf."
            )
        if len(quarters) == 2 and abs(quarters[0] - quarters[1]) not in (1, 3):
            where = f"{named[piece_id]} on {where_of(layer)}"
            yield f"The two quarters of {where} are not beside each other."
        if piece.height_mm > free_mm + TOLERANCE_MM:
            yield f"{named[piece_id]} may be {piece.height_mm} mm high; {free_mm:g} mm are free."


def _intruders(
    stack: Stack, layer: PlannedLayer, things: Sequence[Thing], gap_mm: float
) -> Iterator[str]:
    """Ware that stands in a booked quarter, or within half the spacing of it."""
    booked = {quarter for _, quarters in layer.fractions for quarter in quarters}
    for quarter in sorted(booked & set(range(4))):
        core = quarter_core(stack.shelf, quarter)
        for thing in things:
            clear_mm = core_distance_mm(thing.core, core) - thing.radius_mm
            if clear_mm < gap_mm / 2 - TOLERANCE_MM:
                yield f"{thing.name} on {thing.where} stands in quarter {quarter}, which is booked."


def _gap_faults(things: Sequence[Thing], gap_mm: float) -> Iterator[str]:
    for one, other in combinations(things, 2):
        apart_in_height = (
            one.low_mm >= other.low_mm + other.height_mm
            or other.low_mm >= one.low_mm + one.height_mm
        )
        if apart_in_height:
            continue
        clear_mm = core_distance_mm(one.core, other.core) - one.radius_mm - other.radius_mm
        if clear_mm < -TOLERANCE_MM:
            yield f"{one.name} and {other.name} on {one.where} overlap by {-clear_mm:.2f} mm."
        elif clear_mm < gap_mm - TOLERANCE_MM:
            yield (
                f"{one.name} and {other.name} on {one.where} are {clear_mm:.2f} mm apart; "
                f"{gap_mm:g} mm are needed."
            )
