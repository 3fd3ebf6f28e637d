"""Two plain ways of filling a kiln, to hold the load planner against. They serve only to measure.

By hand: the tallest piece first, shelf by shelf, each piece in the first place that fits. With
rectangles: every piece as its bounding box, packed into the largest rectangle that is free on a
shelf, always into the free rectangle whose shorter side is left smallest (maximal rectangles:
J. Jylanki, A Thousand Ways to Pack the Bin, 2010; from memory).
"""

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta

import numpy as np

from firings.calculations.footprints import Disc, area_mm2
from firings.calculations.kiln_space import KilnSpace, Stack, lowest_posts
from firings.calculations.load_plan import Placement, PlannedLayer
from firings.calculations.outlines import Body
from firings.calculations.planning.problem import PlannedFiring, Queue, QueuePiece, QueuePlan
from firings.calculations.planning.region import Region, shelf_region

STEP_MM = 5.0
FillShelf = Callable[[Region, Sequence[QueuePiece], float], dict[str, Placement]]


def plan_by(queue: Queue, fill: FillShelf) -> QueuePlan:
    """Clear a queue as soon as the kiln allows: each time what has most area that is dry."""
    waiting = {piece.id: piece for piece in queue.pieces}
    firings: list[PlannedFiring] = []
    day = queue.today
    while waiting:
        dry = [piece for piece in waiting.values() if piece.ready_on <= day]
        if not dry:
            day = min(piece.ready_on for piece in waiting.values())
            continue
        loads = [fill_kiln(queue, day, name, group, fill) for name, group in _groups(dry)]
        firing = max(loads, key=lambda load: sum(waiting[i].area_mm2 for i in load.piece_ids))
        _take(waiting, firing)
        firings.append(firing)
        day += timedelta(days=queue.days_between_firings)
    return QueuePlan(tuple(firings))


def plan_without_dates(queue: Queue, fill: FillShelf) -> QueuePlan:
    """Clear a queue as if all were dry, and fire each load once its last piece is."""
    loads: list[PlannedFiring] = []
    for name, group in _groups(queue.pieces):
        waiting = {piece.id: piece for piece in group}
        while waiting:
            load = fill_kiln(queue, queue.today, name, list(waiting.values()), fill)
            dry_on = max((waiting[i].ready_on for i in load.piece_ids), default=queue.today)
            _take(waiting, load)
            loads.append(replace(load, fire_on=dry_on))
    firings: list[PlannedFiring] = []
    day = queue.today
    for load in sorted(loads, key=lambda load: load.fire_on):
        day = max(day, load.fire_on)
        firings.append(replace(load, fire_on=day))
        day += timedelta(days=queue.days_between_firings)
    return QueuePlan(tuple(firings))


def late_pieces(queue: Queue, plan: QueuePlan) -> int:
    """How many pieces are fired after the day they were due."""
    fired_on = {i: firing.fire_on for firing in plan.firings for i in firing.piece_ids}
    due = {piece.id: piece.due_on for piece in queue.pieces if piece.due_on}
    return sum(fired_on[i] > due_on for i, due_on in due.items() if i in fired_on)


def _groups(pieces: Sequence[QueuePiece]) -> list[tuple[tuple[str, str], list[QueuePiece]]]:
    groups: dict[tuple[str, str], list[QueuePiece]] = defaultdict(list)
    for piece in pieces:
        groups[piece.stage, piece.cone].append(piece)
    return sorted(groups.items())


def _take(waiting: dict[str, QueuePiece], firing: PlannedFiring) -> None:
    if not firing.piece_ids:
        raise ValueError(f"{next(iter(waiting))} fits nowhere in this kiln")
    for piece_id in firing.piece_ids:
        del waiting[piece_id]


def fill_kiln(
    queue: Queue, day: date, name: tuple[str, str], pieces: Sequence[QueuePiece], fill: FillShelf
) -> PlannedFiring:
    """One firing: in each tower shelf upon shelf, as high as the tallest piece that is left."""
    gap_mm = queue.gap_mm[name[0]]
    left = sorted(pieces, key=lambda piece: (-piece.height_mm, -piece.area_mm2, piece.id))
    layers: list[PlannedLayer] = []
    for stack in queue.space.stacks:
        layers += _fill_tower(queue.space, stack, left, gap_mm, fill)
    return PlannedFiring(day, name[0], name[1], tuple(layers))


def _fill_tower(
    space: KilnSpace, stack: Stack, left: list[QueuePiece], gap_mm: float, fill: FillShelf
) -> list[PlannedLayer]:
    layers: list[PlannedLayer] = []
    surface_mm, posts = 0, lowest_posts(space, space.lowest_post_mm)
    carrying, top = (shelf_region(space, stack, carries) for carries in (True, False))
    while posts is not None and left:
        bottom_mm = surface_mm + sum(posts)
        surface_mm = bottom_mm + stack.shelf.thickness_mm
        free_mm = space.chamber.height_mm - surface_mm - space.gap_above_mm
        able = [piece for piece in left if piece.height_mm <= free_mm]
        if not able:
            break
        posts_above = lowest_posts(space, able[0].height_mm + space.gap_above_mm)
        least_mm = min(piece.height_mm for piece in left)
        is_top = (
            not stack.can_carry
            or len(layers) + 1 == stack.shelves_count
            or posts_above is None
            or free_mm - sum(posts_above) - stack.shelf.thickness_mm < least_mm
        )
        placed = fill(top if is_top else carrying, able, gap_mm)
        if not placed:
            break
        layers.append(
            PlannedLayer(stack.name, len(layers) + 1, posts, bottom_mm, tuple(placed.values()))
        )
        left[:] = [piece for piece in left if piece.id not in placed]
        if is_top:
            break
        posts = posts_above
    return layers


# ---- by hand: the first place that fits


@dataclass
class _Standing:
    """What stands on a shelf: cores (half sizes, 0 for a disc) with radii."""

    x_mm: list[float]
    y_mm: list[float]
    body: list[Body]


def first_place(
    region: Region, pieces: Sequence[QueuePiece], gap_mm: float
) -> dict[str, Placement]:
    """Each piece in the first place on a grid of 5 mm, from the front, left to right."""
    left, front, right, back = region.bounds_mm
    xs, ys = np.arange(left, right + 1, STEP_MM), np.arange(front, back + 1, STEP_MM)
    grid_y, grid_x = (axis.ravel() for axis in np.meshgrid(ys, xs, indexing="ij"))
    standing = _Standing([], [], [])
    placed: dict[str, Placement] = {}
    hopeless: set[object] = set()
    for piece in pieces:
        if piece.footprint in hopeless:
            continue
        for turn_deg in (0,) if isinstance(piece.footprint, Disc) else (0, 90):
            body = _body(piece, turn_deg)
            free = _free(region, standing, body, gap_mm, grid_x, grid_y)
            if free.any():
                at = int(free.argmax())
                x_mm, y_mm = float(grid_x[at]), float(grid_y[at])
                placed[piece.id] = Placement(piece.id, x_mm, y_mm, turn_deg)
                standing.x_mm.append(x_mm)
                standing.y_mm.append(y_mm)
                standing.body.append(body)
                break
        else:
            hopeless.add(piece.footprint)
    return placed


def _body(piece: QueuePiece, turn_deg: int) -> Body:
    if isinstance(piece.footprint, Disc):
        return Body(0.0, 0.0, piece.footprint.diameter_mm / 2)
    assert piece.footprint is not None
    half = piece.footprint.width_mm / 2, piece.footprint.depth_mm / 2
    return Body(*(half if turn_deg == 0 else half[::-1]), 0.0)


def _free(
    region: Region,
    standing: _Standing,
    body: Body,
    gap_mm: float,
    grid_x: np.ndarray,
    grid_y: np.ndarray,
) -> np.ndarray:
    free = np.ones(grid_x.size, dtype=bool)
    for circle in region.outline.circles:
        far_x = np.abs(grid_x - circle.x_mm) + body.half_width_mm
        far_y = np.abs(grid_y - circle.y_mm) + body.half_depth_mm
        free &= np.hypot(far_x, far_y) + body.radius_mm <= circle.radius_mm
    for edge in region.outline.edges:
        reach = abs(edge.normal_x) * body.half_width_mm + abs(edge.normal_y) * body.half_depth_mm
        along = edge.normal_x * grid_x + edge.normal_y * grid_y
        free &= along + reach + body.radius_mm <= edge.reach_mm
    others = [
        *((post.x_mm, post.y_mm, Body(0.0, 0.0, post.radius_mm), 0.0) for post in region.posts),
        *(
            (x, y, b, gap_mm)
            for x, y, b in zip(standing.x_mm, standing.y_mm, standing.body, strict=True)
        ),
    ]
    for x_mm, y_mm, other, apart_mm in others:
        beyond_x = np.abs(grid_x - x_mm) - body.half_width_mm - other.half_width_mm
        beyond_y = np.abs(grid_y - y_mm) - body.half_depth_mm - other.half_depth_mm
        distance = np.hypot(np.maximum(beyond_x, 0.0), np.maximum(beyond_y, 0.0))
        free &= distance >= body.radius_mm + other.radius_mm + apart_mm
        free &= np.maximum(beyond_x, beyond_y) >= 0
    return free


# ---- rectangles: bounding boxes in the largest free rectangle


Box = tuple[float, float, float, float]  # left, front, width, depth


def in_rectangles(
    region: Region, pieces: Sequence[QueuePiece], gap_mm: float
) -> dict[str, Placement]:
    """Bounding boxes, grown by the gap, in the largest rectangle between edge and posts.

    A piece too wide for that rectangle has a shelf to itself when nothing else has one.
    """
    left, front, width, depth = _largest_box(region)
    free: list[Box] = [(left, front, width + gap_mm, depth + gap_mm)]
    placed: dict[str, Placement] = {}
    for piece in pieces:
        options = [
            (min(box[2] - w, box[3] - d), box, w, d, turn_deg)
            for turn_deg, (w, d) in _boxes(piece, gap_mm)
            for box in free
            if w <= box[2] and d <= box[3]
        ]
        if not options:
            continue
        _, (x, y, _, _), w, d, turn_deg = min(options)
        middle_x, middle_y = x + (w - gap_mm) / 2, y + (d - gap_mm) / 2
        placed[piece.id] = Placement(piece.id, middle_x, middle_y, turn_deg)
        free = _without(free, (x, y, w, d))
    if placed:
        return placed
    alone = (first_place(region, [piece], gap_mm) for piece in pieces)
    return next((found for found in alone if found), {})


def _boxes(piece: QueuePiece, gap_mm: float) -> list[tuple[int, tuple[float, float]]]:
    if isinstance(piece.footprint, Disc):
        side = piece.footprint.diameter_mm + gap_mm
        return [(0, (side, side))]
    assert piece.footprint is not None
    width, depth = piece.footprint.width_mm + gap_mm, piece.footprint.depth_mm + gap_mm
    return [(0, (width, depth)), (90, (depth, width))]


def _without(free: list[Box], taken: Box) -> list[Box]:
    """The maximal free rectangles once a box is taken."""
    tx, ty, tw, td = taken
    split: list[Box] = []
    for x, y, w, d in free:
        if tx >= x + w or tx + tw <= x or ty >= y + d or ty + td <= y:
            split.append((x, y, w, d))
            continue
        if tx > x:
            split.append((x, y, tx - x, d))
        if tx + tw < x + w:
            split.append((tx + tw, y, x + w - tx - tw, d))
        if ty > y:
            split.append((x, y, w, ty - y))
        if ty + td < y + d:
            split.append((x, ty + td, w, y + d - ty - td))
    split = list(dict.fromkeys(split))
    return [box for box in split if not any(box != other and _holds(other, box) for other in split)]


def _holds(outer: Box, inner: Box) -> bool:
    return (
        outer[0] <= inner[0]
        and outer[1] <= inner[1]
        and outer[0] + outer[2] >= inner[0] + inner[2]
        and outer[1] + outer[3] >= inner[1] + inner[3]
    )


def _largest_box(region: Region) -> Box:
    """The largest rectangle on the shelf, its sides on a grid of 10 mm about its middle."""
    left, front, right, back = region.bounds_mm
    best: Box = (0.0, 0.0, 0.0, 0.0)
    widths = np.arange(20.0, right - left + 1, 10.0)
    depths = np.arange(20.0, back - front + 1, 10.0)
    xs, ys = np.arange(left, right + 1, 10.0), np.arange(front, back + 1, 10.0)
    grid_y, grid_x = (axis.ravel() for axis in np.meshgrid(ys, xs, indexing="ij"))
    nothing = _Standing([], [], [])
    for width in widths:
        for depth in depths[depths * width > best[2] * best[3]]:
            body = Body(float(width) / 2, float(depth) / 2, 0.0)
            free = _free(region, nothing, body, 0.0, grid_x, grid_y)
            if not free.any():
                break
            at = int(free.argmax())
            x, y = float(grid_x[at]) - width / 2, float(grid_y[at]) - depth / 2
            best = (x, y, float(width), float(depth))
    return best


def fill_of(queue: Queue, plan: QueuePlan) -> float:
    """Footprints of all pieces fired over the area of all shelves used."""
    fired = {piece_id for firing in plan.firings for piece_id in firing.piece_ids}
    shelf_mm2 = {stack.name: stack.shelf.area_mm2 for stack in queue.space.stacks}
    used = sum(shelf_mm2[layer.stack] for firing in plan.firings for layer in firing.layers)
    stood = sum(area_mm2(p.footprint) for p in queue.pieces if p.id in fired and p.footprint)
    return stood / used if used else 0.0
