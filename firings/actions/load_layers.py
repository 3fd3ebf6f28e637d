"""Rows of a load as the planner knows them: layers, places, and what crew hold."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from firings.calculations.footprints import Footprint, Rectangle
from firings.calculations.kiln_space import KilnSpace, Stack
from firings.calculations.load_plan import CONE_PACK, PlannedLayer
from firings.calculations.load_plan import Placement as Place
from firings.calculations.plan_geometry import TOLERANCE_MM, core_distance_mm, core_of
from firings.calculations.planning.problem import Held, HeldLayer, KeptFree
from firings.models import Layer, LayerHold, Piece, Placement


def ids_on(layer: PlannedLayer) -> list[str]:
    """The pieces, bundles and booked fractions on a layer."""
    return [put.piece_id for put in layer.placements] + [pid for pid, _ in layer.fractions]


def planned_layer(layer: Layer) -> PlannedLayer:
    """A written layer as the planner knows it. Prefetch `placements`."""
    own = _standing_by_themselves(layer)
    return PlannedLayer(
        stack=layer.stack,
        index=layer.position,
        post_mm=tuple(layer.posts_mm),
        shelf_bottom_mm=layer.shelf_bottom_mm,
        placements=tuple(_place(put) for put in own if put.x_mm is not None),
        fractions=tuple(
            (str(put.piece_id), tuple(put.quadrants)) for put in own if put.x_mm is None
        ),
        cone_pack=_pack(layer),
    )


def _standing_by_themselves(layer: Layer) -> list[Placement]:
    """Without what rides on another piece."""
    return [put for put in layer.placements.all() if put.carried_by_id is None]


def _place(put: Placement) -> Place:
    return Place(str(put.piece_id), put.x_mm or 0.0, put.y_mm or 0.0, round(put.turn_deg))


def _pack(layer: Layer) -> Place | None:
    if not layer.cone_pack:
        return None
    x_mm, y_mm, turn_deg = layer.cone_pack
    return Place("", x_mm, y_mm, round(turn_deg))


def locked_on(layers: Sequence[Layer]) -> set[str]:
    """The pieces that are locked one by one, not those of a layer locked as a whole."""
    return {str(put.piece_id) for la in layers for put in la.placements.all() if put.is_locked}


def crew_hold(
    space: KilnSpace,
    layers: Sequence[Layer],
    holds: Sequence[LayerHold],
    pieces: Mapping[str, Piece],
    forbidden: frozenset[str],
) -> Held:
    """What crew have decided. Layers up to the highest with a lock keep their posts.

    A slip is fired together: with one piece of it locked, the others stay where they stand too.
    """
    slips = {pieces[key].booking_id for key in locked_on(layers) if key in pieces}
    stay = {piece.pk for piece in pieces.values() if piece.booking_id in slips}
    by_place = {(layer.stack, layer.position): layer for layer in layers}
    held_at = {(hold.stack, hold.position): hold for hold in holds}
    fixed_up_to: dict[str, int] = {}
    for (stack, position), layer in by_place.items():
        hold = held_at.get((stack, position))
        if any(put.piece_id in stay for put in layer.placements.all()) or (hold and hold.is_whole):
            fixed_up_to[stack] = max(position, fixed_up_to.get(stack, 0))
    held = []
    for place in sorted({*held_at, *by_place}):
        is_fixed = place[1] <= fixed_up_to.get(place[0], 0)
        one = _held_layer(space, place, by_place.get(place), held_at.get(place), is_fixed, stay)
        if one is not None:
            held.append(one)
    return Held(tuple(held), forbidden)


def _held_layer(
    space: KilnSpace,
    place: tuple[str, int],
    layer: Layer | None,
    hold: LayerHold | None,
    is_fixed: bool,
    stay: set[int],
) -> HeldLayer | None:
    is_whole = bool(hold and hold.is_whole and layer)
    wanted = tuple(hold.posts_mm) if hold and hold.posts_mm else None
    posts = tuple(layer.posts_mm) if layer and is_fixed else wanted
    puts = (
        [put for put in _standing_by_themselves(layer) if is_whole or put.piece_id in stay]
        if layer
        else []
    )
    free = tuple(kept_free_of(room) for room in hold.keep_free) if hold else ()
    if posts is None and not puts and not free and not is_whole:
        return None
    return HeldLayer(
        stack=place[0],
        index=place[1],
        post_mm=posts,
        locked=tuple(_place(put) for put in puts if put.x_mm is not None),
        locked_fractions=tuple(
            (str(put.piece_id), tuple(put.quadrants)) for put in puts if put.x_mm is None
        ),
        cone_pack=_pack_that_stays(space, layer) if layer and is_whole else None,
        keep_free=free,
        is_whole=is_whole,
    )


def _pack_that_stays(space: KilnSpace, layer: Layer) -> Place | None:
    """The cone pack of a layer locked whole, unless posts would have to stand where it does.

    A pack on a post place is only right as long as no shelf comes above. It is no ware, so the
    planner may stand it elsewhere rather than find no load at all.
    """
    pack = _pack(layer)
    if pack is None:
        return None
    stack = next((one for one in space.stacks if one.name == layer.stack), None)
    return None if stack and _is_on_a_post(space, stack, CONE_PACK, pack) else pack


def _is_on_a_post(space: KilnSpace, stack: Stack, footprint: Footprint, put: Place) -> bool:
    core, radius_mm = core_of(footprint, put)
    clear_mm = radius_mm + space.post_width_mm / 2 + space.gap_to_posts_mm - TOLERANCE_MM
    return any(core_distance_mm(core, (place,)) < clear_mm for place in stack.post_places_mm)


def topmost_locked(
    space: KilnSpace, held: Held, footprints: Mapping[str, Footprint | None]
) -> dict[str, int]:
    """{tower: level} above which no shelf can be: something locked stands where its posts would.

    Crew locked it on a top shelf, where no post was in the way.
    """
    stacks = {stack.name: stack for stack in space.stacks}
    tops: dict[str, int] = {}
    for layer in held.layers:
        for put in layer.locked:
            footprint = footprints.get(put.piece_id)
            if footprint and _is_on_a_post(space, stacks[layer.stack], footprint, put):
                tops[layer.stack] = min(layer.index, tops.get(layer.stack, layer.index))
    return tops


def kept_free_of(room: dict[str, float]) -> KeptFree:
    """Room that crew keep free, as its record has it."""
    return KeptFree(
        room=Rectangle(round(room["width_mm"]), round(room["depth_mm"])),
        x_mm=room["x_mm"],
        y_mm=room["y_mm"],
        turn_deg=room.get("turn_deg", 0),
        height_mm=round(room.get("height_mm", 0)),
    )
