"""Whether a plan keeps to what crew have decided. Part of the check of a plan; lengths are mm."""

import math
from collections.abc import Iterator, Sequence

from firings.calculations.kiln_space import KilnSpace, Stack
from firings.calculations.load_plan import LoadPiece, LoadPlan, Placement, PlannedLayer
from firings.calculations.plan_geometry import (
    TOLERANCE_MM,
    Names,
    Thing,
    beyond_mm,
    core_distance_mm,
    core_of,
    head_room_mm,
    level_words,
    quarter_core,
    things_on,
    where_of,
)
from firings.calculations.planning.problem import Held, HeldLayer, KeptFree


def held_faults(
    space: KilnSpace,
    pieces: dict[str, LoadPiece],
    plan: LoadPlan,
    gap_mm: float,
    held: Held,
    named: Names,
) -> Iterator[str]:
    """One sentence for each way in which a plan goes against what crew have decided."""
    layers = {(layer.stack, layer.index): layer for layer in plan.layers}
    stacks = {stack.name: stack for stack in space.stacks}
    for piece_id in (pid for layer in plan.layers for pid in _ids_on(layer)):
        if piece_id in held.forbidden:
            yield f"{named[piece_id]} is kept out of this load."
    for one in held.layers:
        layer, stack = layers.get((one.stack, one.index)), stacks.get(one.stack)
        if layer is None or stack is None:
            if one.locked or one.locked_fractions or one.is_whole:
                level = level_words(one.stack, one.index)
                yield f"There is no {level}, on which something is locked."
            continue
        yield from _layer_held_faults(one, layer, named)
        if one.keep_free:
            above = layers.get((one.stack, one.index + 1))
            free_mm = head_room_mm(space, stack, layer, above)
            things = list(things_on(stack, layer, pieces, named))
            yield from _kept_free_faults(one, stack, layer, things, gap_mm)
            yield from _kept_height_faults(one, free_mm)
            yield from _kept_place_faults(one, space, stack, above)


def _ids_on(layer: PlannedLayer) -> Iterator[str]:
    yield from (put.piece_id for put in layer.placements)
    yield from (piece_id for piece_id, _ in layer.fractions)


def _layer_held_faults(one: HeldLayer, layer: PlannedLayer, named: Names) -> Iterator[str]:
    where = where_of(layer)
    if one.post_mm is not None and sum(one.post_mm) != sum(layer.post_mm):
        yield (
            f"The posts under {where} are set to {sum(one.post_mm)} mm; "
            f"the plan has {sum(layer.post_mm)} mm."
        )
    places = {put.piece_id: put for put in layer.placements}
    for locked in one.locked:
        put = places.get(locked.piece_id)
        if put is None or not _is_same_place(put, locked):
            yield f"{named[locked.piece_id]} is locked on {where} and does not stand there."
    quarters = dict(layer.fractions)
    for piece_id, taken in one.locked_fractions:
        if sorted(quarters.get(piece_id, ())) != sorted(taken):
            yield f"{named[piece_id]} is locked on {where} and does not stand there."
    if one.cone_pack is not None and (
        layer.cone_pack is None or not _is_same_place(layer.cone_pack, one.cone_pack)
    ):
        yield f"The cone pack of {where} is locked and does not stand there."
    if one.is_whole:
        own = {put.piece_id for put in one.locked} | {pid for pid, _ in one.locked_fractions}
        for piece_id in _ids_on(layer):
            if piece_id not in own:
                yield f"{where.capitalize()} is locked; {named[piece_id]} cannot be added to it."


def _is_same_place(one: Placement, other: Placement) -> bool:
    apart = math.hypot(one.x_mm - other.x_mm, one.y_mm - other.y_mm)
    return apart <= TOLERANCE_MM and one.turn_deg == other.turn_deg


def kept_thing(room: KeptFree, stack: Stack, layer: PlannedLayer) -> Thing:
    """Kept room as something that stands there."""
    put = Placement("", room.x_mm, room.y_mm, round(room.turn_deg))
    core, radius_mm = core_of(room.room, put)
    low_mm = layer.shelf_bottom_mm + stack.shelf.thickness_mm
    name = "The room kept free"
    return Thing(name, core, radius_mm, low_mm, room.height_mm, where_of(layer))


def _kept_free_faults(
    one: HeldLayer, stack: Stack, layer: PlannedLayer, things: Sequence[Thing], gap_mm: float
) -> Iterator[str]:
    """Ware, or a booked quarter, in room that is kept free or within the spacing of it."""
    rooms = [kept_thing(room, stack, layer) for room in one.keep_free]
    for room in rooms:
        for thing in things:
            clear_mm = core_distance_mm(thing.core, room.core) - thing.radius_mm
            if clear_mm < gap_mm - TOLERANCE_MM:
                yield f"{thing.name} stands in the room kept free on {thing.where}."
        for quarter in {quarter for _, quarters in layer.fractions for quarter in quarters}:
            if core_distance_mm(room.core, quarter_core(stack.shelf, quarter)) < -TOLERANCE_MM:
                yield f"The room kept free on {room.where} lies in a booked quarter."


def _kept_height_faults(one: HeldLayer, free_mm: float) -> Iterator[str]:
    for room in one.keep_free:
        if room.height_mm > free_mm + TOLERANCE_MM:
            yield (
                f"The room kept free on {level_words(one.stack, one.index)} needs "
                f"{room.height_mm} mm of height; {free_mm:g} mm are free."
            )


def _kept_place_faults(
    one: HeldLayer, space: KilnSpace, stack: Stack, above: PlannedLayer | None
) -> Iterator[str]:
    """Kept room that is not on the shelf, or in which a post stands."""
    for room in one.keep_free:
        layer = PlannedLayer(one.stack, one.index, (), 0, ())
        thing = kept_thing(room, stack, layer)
        over_mm = beyond_mm(stack.shelf, thing)
        if over_mm > TOLERANCE_MM:
            yield f"{thing.name} on {thing.where} reaches {over_mm:.0f} mm over the shelf's edge."
        if above is not None:
            for place in stack.post_places_mm:
                clear_mm = core_distance_mm(thing.core, (place,)) - space.post_width_mm / 2
                if clear_mm < -TOLERANCE_MM:
                    yield f"A post stands in the room kept free on {thing.where}."
