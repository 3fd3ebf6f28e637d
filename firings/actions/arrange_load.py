"""Crew overrule the planner piece by piece: moved, swapped, turned; each change checked at once.

A piece that was moved is locked. What cannot stand is refused with the reason, and nothing is
written. A layer that is locked as a whole is unlocked first.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import datetime
from functools import partial

from django.db import transaction

from firings.actions.load import loadable, promise_place, with_ware
from firings.actions.load_record import StandingLoad, load_was_changed, standing_load
from firings.calculations.footprints import Rectangle
from firings.calculations.free_place import free_place
from firings.calculations.load_plan import LoadPlan, PlannedLayer, quarter_choices
from firings.calculations.load_plan import Placement as Place
from firings.calculations.plan_check import check_load
from firings.calculations.planning.problem import Held, HeldLayer
from firings.models import Firing, Layer, Piece, Placement
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

Fraction = tuple[str, tuple[int, ...]]


def move_piece(
    *,
    by: Person,
    at: datetime,
    firing: Firing,
    piece: Piece,
    stack: str,
    position: int,
    x_mm: float | None = None,
    y_mm: float | None = None,
) -> Placement:
    """Put a piece to a place on a layer, or to the nearest free place when none is named."""
    require_role(by, Role.CREW)
    if (x_mm is None) != (y_mm is None):
        raise WareRefusal("half_a_place", "Give both numbers of the place, or none.", field="x_mm")
    with transaction.atomic(durable=True):
        load = held_load(firing)
        put = _movable(load, piece)
        layer = layer_at(load, stack, position)
        if put.x_mm is None:
            put.quadrants = _free_quarters(load, put, layer)
        elif x_mm is not None and y_mm is not None:
            put.x_mm, put.y_mm = x_mm, y_mm
        else:
            _to_free_place(load, put, layer)
        put.layer = layer
        return _stand(load, [put], deed="moved", by=by, at=at)


def nudge_piece(
    *, by: Person, at: datetime, firing: Firing, piece: Piece, right_mm: float, back_mm: float
) -> Placement:
    """Move a piece on its layer by so much to the right and to the back; less is the other way."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        load = held_load(firing)
        put = _movable(load, piece)
        if put.x_mm is None or put.y_mm is None:
            raise WareRefusal("stands_in_quarters", _IN_QUARTERS.format(load.names[str(piece.pk)]))
        put.x_mm, put.y_mm = put.x_mm + right_mm, put.y_mm + back_mm
        return _stand(load, [put], deed="moved", by=by, at=at)


def turn_piece(
    *, by: Person, at: datetime, firing: Firing, piece: Piece, turn_deg: int
) -> Placement:
    """Turn a rectangle about its middle, counter-clockwise, by so many degrees."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        load = held_load(firing)
        put = _movable(load, piece)
        if not isinstance(load.load_pieces[str(piece.pk)].footprint, Rectangle):
            raise WareRefusal(
                "nothing_to_turn", f"{load.names[str(piece.pk)]} has no corners to turn."
            )
        put.turn_deg = (put.turn_deg + turn_deg) % 360
        return _stand(load, [put], deed="turned", by=by, at=at)


def swap_pieces(
    *, by: Person, at: datetime, firing: Firing, piece: Piece, other: Piece
) -> Placement:
    """Let two pieces change places; each keeps its turn."""
    require_role(by, Role.CREW)
    if piece.pk == other.pk:
        raise WareRefusal("same_piece", "Choose two different pieces.", field="other")
    with transaction.atomic(durable=True):
        load = held_load(firing)
        one, two = _movable(load, piece), _movable(load, other)
        if (one.x_mm is None) != (two.x_mm is None) or len(one.quadrants) != len(two.quadrants):
            raise WareRefusal(
                "not_alike", "A booked part of a shelf changes places only with its like."
            )
        one.layer, two.layer = two.layer, one.layer
        one.x_mm, two.x_mm = two.x_mm, one.x_mm
        one.y_mm, two.y_mm = two.y_mm, one.y_mm
        one.quadrants, two.quadrants = two.quadrants, one.quadrants
        return _stand(load, [one, two], deed="swapped", by=by, at=at)


_IN_QUARTERS = "{} is a booked part of a shelf: it moves to another layer only."


def held_load(firing: Firing) -> StandingLoad:
    """The load with its rows held, as it stands now; refused when it can no longer be changed."""
    firing = loadable(firing)
    mine = firing.bookings.select_for_update(of=("self",)).order_by("pk")
    return standing_load(firing, list(with_ware(mine)))


def layer_at(load: StandingLoad, stack: str, position: int) -> Layer:
    """A layer of the load; refused when there is none."""
    for layer in load.layers:
        if (layer.stack, layer.position) == (stack, position):
            return layer
    raise WareRefusal("no_such_layer", f"This load has no layer {position} ({stack}).", status=404)


def check_change(load: StandingLoad, plan: LoadPlan, held: Held) -> None:
    """Refuse a change for the first fault that the load did not have before."""
    pieces = list(load.load_pieces.values())
    check = partial(check_load, load.space, pieces, names=load.names, bundles=load.bundles)
    faults = check(plan, load.gap_mm, held=held)
    if faults:
        before = check(load.plan, load.gap_mm)
        new = [fault for fault in faults if fault not in before]
        if new:
            raise WareRefusal("cannot_stand", f"{new[0]} Nothing was changed.", faults=new[:5])


def _movable(load: StandingLoad, piece: Piece) -> Placement:
    """The row of a piece's place, fresh from the load; refused on a layer locked as a whole."""
    for layer in load.layers:
        for put in layer.placements.all():
            if put.piece_id == piece.pk:
                _require_unlocked(load, layer)
                require_own_place(put, piece)
                put.layer = layer
                return put
    raise WareRefusal("no_place", f"{piece.name} has no place in this load.", status=404)


def require_own_place(put: Placement, piece: Piece) -> None:
    """Refuse to move or lock by itself what stands in, on or in a row with another piece."""
    if put.carried_by:
        raise WareRefusal(
            "carried",
            f"{piece.name} {put.get_stands_display()} and goes where {put.carried_by.name} goes. "
            "Choose that one.",
        )


def _require_unlocked(load: StandingLoad, layer: Layer) -> None:
    for hold in load.holds:
        if hold.is_whole and (hold.stack, hold.position) == (layer.stack, layer.position):
            raise WareRefusal("layer_locked", f"Layer {layer.position} is locked. Unlock it first.")


def _to_free_place(load: StandingLoad, put: Placement, layer: Layer) -> None:
    key = str(put.piece_id)
    near = (put.x_mm or 0.0, put.y_mm or 0.0)
    place = free_place(
        load.space, load.load_pieces, load.plan, load.load_pieces[key], load.gap_mm,
        stack=layer.stack, index=layer.position, near_mm=near, held=load.held,
    )  # fmt: skip
    if place is None:
        raise WareRefusal(
            "no_free_place",
            f"There is no free place for {load.names[key]} on layer {layer.position}, "
            "or it is too tall for it.",
        )
    put.x_mm, put.y_mm, put.turn_deg = place.x_mm, place.y_mm, place.turn_deg


def _free_quarters(load: StandingLoad, put: Placement, layer: Layer) -> list[int]:
    """The first quarters of a layer in which a booked part of a shelf can be."""
    held = without_locks(load.held, {put.piece_id})
    for choice in quarter_choices(len(put.quadrants)):
        moved = Placement(layer=layer, piece_id=put.piece_id, quadrants=list(choice))
        plan = _plan_with(load, [moved])
        pieces = list(load.load_pieces.values())
        if not check_load(load.space, pieces, plan, load.gap_mm, held=held):
            return list(choice)
    raise WareRefusal(
        "no_free_place",
        f"Layer {layer.position} has no free part of that size, or it is too low.",
    )


def _stand(
    load: StandingLoad, puts: list[Placement], *, deed: str, by: Person, at: datetime
) -> Placement:
    """Check the load with these places, write them locked, and leave a trail."""
    held = without_locks(load.held, {put.piece_id for put in puts})
    check_change(load, _plan_with(load, puts), held)
    for put in puts:
        put.is_locked = True
        put.save(update_fields=["layer", "x_mm", "y_mm", "turn_deg", "quadrants", "is_locked"])
        Placement.objects.filter(carried_by=put.piece_id).update(
            layer=put.layer, x_mm=put.x_mm, y_mm=put.y_mm, turn_deg=put.turn_deg
        )
        where = [put.layer.stack, put.layer.position, put.x_mm, put.y_mm, put.turn_deg]
        piece = load.pieces[str(put.piece_id)]
        record_deed(piece, deed, by=by, at=at, firing=load.firing.pk, where=where)
    promise_place(load.firing, [load.pieces[str(put.piece_id)] for put in puts])
    load_was_changed(load.firing)
    return puts[0]


def _plan_with(load: StandingLoad, puts: Iterable[Placement]) -> LoadPlan:
    """The load's plan, with these pieces at their new places."""
    moved = {str(put.piece_id): put for put in puts}

    def changed(layer: PlannedLayer) -> PlannedLayer:
        here = [
            put for put in moved.values()
            if (put.layer.stack, put.layer.position) == (layer.stack, layer.index)
        ]  # fmt: skip
        standing = [put for put in layer.placements if put.piece_id not in moved]
        quarters = [one for one in layer.fractions if one[0] not in moved]
        return replace(
            layer,
            placements=(*standing, *(place_of(put) for put in here if put.x_mm is not None)),
            fractions=(
                *quarters,
                *((str(put.piece_id), tuple(put.quadrants)) for put in here if put.x_mm is None),
            ),
        )

    return replace(load.plan, layers=tuple(changed(layer) for layer in load.plan.layers))


def place_of(put: Placement) -> Place:
    """A row's place as the planner knows it."""
    return Place(str(put.piece_id), put.x_mm or 0.0, put.y_mm or 0.0, round(put.turn_deg))


def without_locks(held: Held, piece_pks: set[int]) -> Held:
    """The same decisions without the locks of these pieces: a person moves them on purpose."""
    gone = {str(pk) for pk in piece_pks}

    def freed(layer: HeldLayer) -> HeldLayer:
        return replace(
            layer,
            locked=tuple(put for put in layer.locked if put.piece_id not in gone),
            locked_fractions=tuple(one for one in layer.locked_fractions if one[0] not in gone),
        )

    return _each_layer(held, freed)


def _each_layer(held: Held, change: Callable[[HeldLayer], HeldLayer]) -> Held:
    return replace(held, layers=tuple(change(layer) for layer in held.layers))
