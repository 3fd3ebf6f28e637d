"""The one door between loads and the search that plans them.

By hand so far: tallest first, shelf by shelf; around locked pieces, what finds a free place on the
layers as they stand.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date

from firings.actions.load_record import ids_on, plan_area_mm2
from firings.calculations import packing
from firings.calculations.free_place import free_place
from firings.calculations.kiln_space import KilnSpace, check_footprint_fits
from firings.calculations.load_plan import LeftOut, LoadPiece, LoadPlan, WhyLeftOut
from firings.calculations.planning.problem import Held, LoadProgress, LoadRule, QueuePiece

# How often a load is tried again with what was booked later; a try takes up to half a second.
ROUNDS_AT_MOST = 8


@dataclass(frozen=True)
class Wanted:
    """What a load is planned from: the kiln's room, the ware, the rule and crew's decisions."""

    space: KilnSpace
    pieces: tuple[QueuePiece, ...]
    gap_mm: int
    on: date
    rule: LoadRule
    held: Held
    present: LoadPlan | None = None
    cone_pack_layers: int = 1
    seed: int = 1


def improve(wanted: Wanted) -> Iterator[LoadProgress]:
    """Plans, each better than the one before; the first within a second."""
    allowed = [piece for piece in wanted.pieces if piece.id not in wanted.held.forbidden]
    kept_out = [piece for piece in wanted.pieces if piece.id in wanted.held.forbidden]
    if wanted.held.layers and wanted.present is not None:
        plan = _around_what_is_held(wanted, allowed)
    else:
        plan = _by_hand(wanted, allowed)
    out = tuple(LeftOut(piece.id, WhyLeftOut.NO_ROOM) for piece in kept_out)
    yield _progress(wanted, replace(plan, left_out=(*plan.left_out, *out)))


def has_room(
    space: KilnSpace,
    pieces: Sequence[QueuePiece],
    gap_mm: int,
    *,
    cone_pack_layers: int = 1,
    present: LoadPlan | None = None,
) -> LoadPlan | None:
    """A load with all the pieces, keeping `present` where it can; None when none is found."""
    load_pieces = [piece.as_load_piece() for piece in pieces]
    if not packing.fits(space, load_pieces, gap_mm, cone_pack_layers):
        return None
    return packing.plan_load(space, load_pieces, gap_mm, cone_pack_layers)


def _progress(wanted: Wanted, plan: LoadPlan) -> LoadProgress:
    pieces = {piece.id: piece.as_load_piece() for piece in wanted.pieces}
    area = plan_area_mm2(wanted.space, pieces, plan)
    shelves = sum(one.shelf.area_mm2 * one.shelves_count for one in wanted.space.stacks)
    ware = sum(piece.area_mm2 for piece in wanted.pieces if piece.id not in wanted.held.forbidden)
    ware += sum(
        int(wanted.space.stacks[0].shelf.area_mm2 * piece.fraction)
        for piece in wanted.pieces
        if piece.fraction
    )
    bound = max(area, min(shelves, ware))
    return LoadProgress(plan, area, float(area), bound, 1, area >= bound)


def _by_hand(wanted: Wanted, pieces: Sequence[QueuePiece]) -> LoadPlan:
    """Plan until every group is wholly in or wholly out.

    A long queue is tried in its order, each time as much as could fill the shelves by area; what
    finds no room makes way for what was booked after it.
    """
    shelves_mm2 = sum(one.shelf.area_mm2 * one.shelves_count for one in wanted.space.stacks)
    untried = sorted({piece.group for piece in pieces}, key=lambda g: _first_order(pieces, g))
    tried: list[str] = []
    out: dict[str, LeftOut] = {}
    for number in range(len(untried) + ROUNDS_AT_MOST):
        if number < ROUNDS_AT_MOST:
            while untried and _area_mm2(wanted, pieces, tried) < shelves_mm2:
                tried.append(untried.pop(0))
        mine = [piece.as_load_piece() for piece in pieces if piece.group in tried]
        plan = packing.plan_load(wanted.space, mine, wanted.gap_mm, wanted.cone_pack_layers)
        left = {one.piece_id: one for one in plan.left_out}
        gone = {piece.group for piece in pieces if piece.id in left}
        out |= left
        tried = [group for group in tried if group not in gone]
        is_last = number >= ROUNDS_AT_MOST - 1 or not untried
        if not gone and (is_last or _area_mm2(wanted, pieces, tried) >= shelves_mm2):
            break
    left_out = [
        out.get(piece.id, LeftOut(piece.id, WhyLeftOut.NO_ROOM))
        for piece in pieces
        if piece.group not in tried
    ]
    return replace(plan, left_out=tuple(left_out))


def _first_order(pieces: Sequence[QueuePiece], group: str) -> tuple[date, int]:
    mine = [piece for piece in pieces if piece.group == group]
    is_promised = min(piece.ready_on for piece in mine)
    return (is_promised if is_promised < date(2020, 1, 1) else date.max, mine[0].booked_order)


def _area_mm2(wanted: Wanted, pieces: Sequence[QueuePiece], groups: Sequence[str]) -> int:
    shelf_mm2 = wanted.space.stacks[0].shelf.area_mm2
    return sum(
        int(shelf_mm2 * piece.fraction) if piece.fraction else piece.area_mm2
        for piece in pieces
        if piece.group in groups
    )


def _around_what_is_held(wanted: Wanted, pieces: Sequence[QueuePiece]) -> LoadPlan:
    """The present plan without what is forbidden, and what else finds a free place in it."""
    known = {piece.id: piece.as_load_piece() for piece in wanted.pieces}
    allowed = {piece.id for piece in pieces}
    present = wanted.present or LoadPlan((), ())
    layers = tuple(
        replace(
            layer,
            placements=tuple(put for put in layer.placements if put.piece_id in allowed),
            fractions=tuple(one for one in layer.fractions if one[0] in allowed),
        )
        for layer in present.layers
    )
    plan = LoadPlan(layers, ())
    standing = {key for layer in layers for key in ids_on(layer)}
    groups = {piece.group for piece in pieces if piece.id not in standing}
    for group in sorted(groups, key=lambda one: _first_order(pieces, one)):
        mine = [known[one.id] for one in pieces if one.group == group and one.id not in standing]
        plan = _with_group(wanted, known, plan, mine) or plan
    standing = {key for layer in plan.layers for key in ids_on(layer)}
    out = [LeftOut(key, _why(wanted, known[key])) for key in allowed if key not in standing]
    return replace(plan, left_out=tuple(sorted(out, key=lambda one: one.piece_id)))


def _why(wanted: Wanted, piece: LoadPiece) -> WhyLeftOut:
    is_too_big = check_footprint_fits(wanted.space, piece.footprint, piece.height_mm)
    return WhyLeftOut.TOO_BIG if is_too_big else WhyLeftOut.NO_ROOM


def _with_group(
    wanted: Wanted, known: dict[str, LoadPiece], plan: LoadPlan, pieces: Sequence[LoadPiece]
) -> LoadPlan | None:
    for piece in pieces:
        grown = _with_piece(wanted, known, plan, piece) if piece.footprint else None
        if grown is None:
            return None
        plan = grown
    return plan


def _with_piece(
    wanted: Wanted, known: dict[str, LoadPiece], plan: LoadPlan, piece: LoadPiece
) -> LoadPlan | None:
    for number, layer in enumerate(plan.layers):
        place = free_place(
            wanted.space,
            known,
            plan,
            piece,
            wanted.gap_mm,
            stack=layer.stack,
            index=layer.index,
            held=wanted.held,
        )
        if place is not None:
            grown = replace(layer, placements=(*layer.placements, place))
            return LoadPlan((*plan.layers[:number], grown, *plan.layers[number + 1 :]), ())
    return None
