"""From a kiln, a spacing and what crew hold to the columns that the search fills.

Everything locked, kept free or booked becomes a thing in the way on a shelf book of its own, so
that the search can neither move it nor forget it.
"""

import math
from collections.abc import Mapping

from firings.calculations.footprints import Disc, Footprint
from firings.calculations.kiln_space import KilnSpace, Stack
from firings.calculations.load_plan import CONE_PACK, CONE_PACK_HEIGHT_MM, LoadPiece, Placement
from firings.calculations.outlines import Edge, Outline
from firings.calculations.planning.patterns import ShelfBook
from firings.calculations.planning.problem import Held, HeldLayer
from firings.calculations.planning.region import shelf_region
from firings.calculations.planning.towers import Column, Site

Row = tuple[float, float, float, float, float]
# Ware turned by other than a quarter is covered by this many strips that stick out a little.
STRIPS = 16


def columns_for(
    space: KilnSpace, gap_mm: float, held: Held, pieces: Mapping[str, LoadPiece]
) -> tuple[Column, ...]:
    """One column for each tower; raises ValueError for a held thing that cannot be."""
    _check_held(space, held, pieces)
    return tuple(_column(space, stack, gap_mm, held, pieces) for stack in space.stacks)


def _check_held(space: KilnSpace, held: Held, pieces: Mapping[str, LoadPiece]) -> None:
    stacks = {stack.name: stack for stack in space.stacks}
    for layer in held.layers:
        if layer.stack not in stacks:
            raise ValueError(f"held names a tower that this kiln has not: {layer.stack!r}")
        most = stacks[layer.stack].shelves_count
        if layer.index > most:
            raise ValueError(f"held names shelf {layer.index} of {layer.stack}; it has {most}")
    unknown = sorted(held.locked_ids - set(pieces))
    if unknown:
        raise ValueError(f"held locks pieces that are not to be planned: {', '.join(unknown)}")


def _column(
    space: KilnSpace,
    stack: Stack,
    gap_mm: float,
    held: Held,
    pieces: Mapping[str, LoadPiece],
) -> Column:
    outline = apart_from_others(space, stack, gap_mm)
    mine = {layer.index: layer for layer in held.layers if layer.stack == stack.name}
    free = _site(space, stack, outline, gap_mm, None, pieces)
    sites = [
        _site(space, stack, outline, gap_mm, mine.get(index, HeldLayer(stack.name, index)), pieces)
        for index in range(1, max(mine, default=0) + 1)
    ]
    return Column(space, stack, free, sites)


def apart_from_others(space: KilnSpace, stack: Stack, gap_mm: float) -> Outline:
    """Where ware may stand so that it keeps its spacing from the towers beside it.

    Two towers with less than the spacing between their shelves each give up half of what is
    missing: a little stricter than asking only ware that stands at one height to keep apart.
    """
    outline = space.ware_outline(stack)
    left, front, right, back = stack.shelf.bounds_mm
    for other in space.stacks:
        if other.name == stack.name:
            continue
        o_left, o_front, o_right, o_back = other.shelf.bounds_mm
        sides = (
            (o_left - right, Edge(1.0, 0.0, right)),
            (left - o_right, Edge(-1.0, 0.0, -left)),
            (o_front - back, Edge(0.0, 1.0, back)),
            (front - o_back, Edge(0.0, -1.0, -front)),
        )
        between, edge = max(sides, key=lambda side: side[0])
        if between < gap_mm:
            reach = edge.reach_mm - (gap_mm - between) / 2
            nearer = Edge(edge.normal_x, edge.normal_y, reach)
            outline = outline.within(Outline((), (nearer,)))
    return outline


def _site(
    space: KilnSpace,
    stack: Stack,
    outline: Outline,
    gap_mm: float,
    held: HeldLayer | None,
    pieces: Mapping[str, LoadPiece],
) -> Site:
    fixed = [] if held is None else _held_rows(held, gap_mm, pieces)
    booked = (
        frozenset()
        if held is None
        else frozenset(quarter for _, quarters in held.locked_fractions for quarter in quarters)
    )
    books = []
    for carries in (True, False):
        region = shelf_region(space, stack, carries)
        posts = [(p.x_mm, p.y_mm, 0.0, 0.0, p.radius_mm) for p in region.posts]
        book = ShelfBook(
            outline,
            stack.shelf.bounds_mm,
            gap_mm,
            [*posts, *fixed],
            stack.shelf.quarter_lines_mm,
            booked,
        )
        quarters = [book.quarter_row(quarter) for quarter in sorted(booked)]
        if quarters:
            book = ShelfBook(
                outline,
                stack.shelf.bounds_mm,
                gap_mm,
                [*posts, *fixed, *quarters],
                stack.shelf.quarter_lines_mm,
                booked,
            )
        books.append(book)
    if held is None:
        return Site(books[0], books[1])
    return Site(
        books[0],
        books[1],
        least_mm=_held_height_mm(held, pieces),
        post_mm=held.post_mm,
        is_whole=held.is_whole,
        is_held=True,
        has_pack=held.cone_pack is not None,
    )


def _held_height_mm(held: HeldLayer, pieces: Mapping[str, LoadPiece]) -> int:
    heights = [pieces[put.piece_id].height_mm for put in held.locked]
    heights += [pieces[piece_id].height_mm for piece_id, _ in held.locked_fractions]
    heights += [kept.height_mm for kept in held.keep_free]
    heights += [CONE_PACK_HEIGHT_MM] if held.cone_pack else []
    return max(heights, default=0)


def _held_rows(held: HeldLayer, gap_mm: float, pieces: Mapping[str, LoadPiece]) -> list[Row]:
    rows: list[Row] = []
    for put in held.locked:
        footprint = pieces[put.piece_id].footprint
        if footprint is None:
            raise ValueError(f"held locks {put.piece_id} as a piece; it is a part of a shelf")
        rows += rows_of_ware(footprint, put, gap_mm)
    for kept in held.keep_free:
        place = Placement("", kept.x_mm, kept.y_mm, kept.turn_deg)
        rows += rows_of_ware(kept.room, place, gap_mm)
    if held.cone_pack is not None:
        rows += rows_of_ware(CONE_PACK, held.cone_pack, gap_mm)
    return rows


def rows_of_ware(footprint: Footprint, put: Placement, gap_mm: float) -> list[Row]:
    """Ware that stands somewhere as rows of `places`, never smaller than it is."""
    if isinstance(footprint, Disc):
        return [(put.x_mm, put.y_mm, 0.0, 0.0, footprint.diameter_mm / 2 + gap_mm)]
    wide, deep = footprint.width_mm / 2, footprint.depth_mm / 2
    quarter_turns = put.turn_deg / 90
    if abs(quarter_turns - round(quarter_turns)) < 1e-9:
        if round(quarter_turns) % 2:
            wide, deep = deep, wide
        return [(put.x_mm, put.y_mm, wide, deep, gap_mm)]
    return _strips(wide, deep, put, gap_mm)


def _strips(wide: float, deep: float, put: Placement, gap_mm: float) -> list[Row]:
    """A turned rectangle cut into level strips, each as wide as the rectangle is anywhere in it."""
    turn = math.radians(put.turn_deg)
    cos, sin = math.cos(turn), math.sin(turn)
    corners = [
        (cos * a - sin * b, sin * a + cos * b)
        for a, b in ((-wide, -deep), (wide, -deep), (wide, deep), (-wide, deep))
    ]
    top = max(y for _, y in corners)
    step = 2 * top / STRIPS
    rows: list[Row] = []
    for number in range(STRIPS):
        low, high = -top + number * step, -top + (number + 1) * step
        xs = [x for x, y in corners if low - 1e-9 <= y <= high + 1e-9]
        for level in (low, high):
            xs += _crossings(corners, level)
        left, right = min(xs), max(xs)
        middle_x, middle_y = put.x_mm + (left + right) / 2, put.y_mm + (low + high) / 2
        rows.append((middle_x, middle_y, (right - left) / 2, step / 2, gap_mm))
    return rows


def _crossings(corners: list[tuple[float, float]], level: float) -> list[float]:
    found = []
    for (x1, y1), (x2, y2) in zip(corners, corners[1:] + corners[:1], strict=True):
        if min(y1, y2) <= level <= max(y1, y2) and y1 != y2:
            found.append(x1 + (x2 - x1) * (level - y1) / (y2 - y1))
    return found
