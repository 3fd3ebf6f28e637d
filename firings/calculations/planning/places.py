"""The exact places where one more footprint can stand on a shelf.

No grid: a footprint that is pushed as far as it goes ends up touching two things (the edge of the
shelf, the wall's distance, a post, other ware), so the points where two such touching curves meet
are the only places worth trying. For a rectangle that is not turned, or by a quarter, and for a
disc, the middles that a neighbour forbids form a rectangle with rounded corners (the Minkowski sum
of the two outlines and the spacing); its border consists of four straight sides and four quarter
circles, or one whole circle between two discs. All meeting points are found and tried at once as
arrays. Positions by tangent pairs are common in the packing literature ("corner placements", e.g.
Huang, Li, Akeb, Li 2005, from memory).

Lengths are mm; a thing in the way is a row (x, y, half width, half depth, reach) where `reach` is
its radius and the spacing to it.
"""

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from firings.calculations.outlines import Body, Outline

Array = NDArray[np.float64]
Rows = tuple[Array, Array, Array]
# Absorbs floating point only: a millionth of a millimetre, ten thousand times less than the
# 0.01 mm that the check of a plan forgives.
ROUNDING_MM = 1e-6
NOTHING: Array = np.zeros((0, 5))


@lru_cache(maxsize=512)
def _pairs(count: int) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    first, second = np.triu_indices(count, 1)
    return first, second


@dataclass(frozen=True, slots=True)
class Room:
    """The inside of an outline for the middle of one body, as arrays.

    `circles`: rows (x, y, radius) the middle must lie within; `edges`: rows (normal x, normal y,
    reach) it must lie behind; `seeds`: places to try on a shelf where nothing is touched yet.
    """

    body: Body
    circles: Array
    edges: Array
    seeds: Array

    @property
    def circle_rows(self) -> Rows:
        return self.circles[:, 0], self.circles[:, 1], self.circles[:, 2]

    @property
    def edge_rows(self) -> Rows:
        return self.edges[:, 0], self.edges[:, 1], self.edges[:, 2]

    @property
    def is_empty(self) -> bool:
        return bool((self.circles[:, 2] < 0).any())


def room_for(outline: Outline, body: Body, middle_mm: tuple[float, float] | None) -> Room:
    """The room of one body; `middle_mm` is a place known to be inside, None when there is none."""
    corners = {
        (sx * body.half_width_mm, sy * body.half_depth_mm) for sx in (-1, 1) for sy in (-1, 1)
    }
    circles = sorted(
        (circle.x_mm - x, circle.y_mm - y, circle.radius_mm - body.radius_mm)
        for circle in outline.circles
        for x, y in corners
    )
    edges = [
        (
            edge.normal_x,
            edge.normal_y,
            edge.reach_mm
            - abs(edge.normal_x) * body.half_width_mm
            - abs(edge.normal_y) * body.half_depth_mm
            - body.radius_mm,
        )
        for edge in outline.edges
    ]
    seeds = [] if middle_mm is None else [middle_mm]
    for turn in range(12):
        across, along = math.cos(turn * math.pi / 6), math.sin(turn * math.pi / 6)
        seeds += [(x + r * across, y + r * along) for x, y, r in circles if r >= 0]
        seeds += [(nx * c, ny * c) for nx, ny, c in edges] if turn == 0 else []
    return Room(
        body,
        np.array(circles, dtype=float).reshape(-1, 3),
        np.array(edges, dtype=float).reshape(-1, 3),
        np.array(seeds, dtype=float).reshape(-1, 2),
    )


def free_places(room: Room, things: Array) -> Array:
    """Every place (rows x, y) where the body touches two things and overlaps none."""
    if room.is_empty:
        return np.zeros((0, 2))
    body = room.body
    tx, ty = things[:, 0], things[:, 1]
    across = things[:, 2] + body.half_width_mm
    along = things[:, 3] + body.half_depth_mm
    reach = things[:, 4] + body.radius_mm
    are_discs = body.half_width_mm == 0 and not (across.any() or along.any())
    if are_discs:
        cx, cy, radius = room.circle_rows
        circles = (
            np.concatenate((cx, tx)),
            np.concatenate((cy, ty)),
            np.concatenate((radius, reach)),
        )
        edges = room.edge_rows
    else:
        circles, edges = _touching_curves(room, things, across, along, reach)
    x, y = _meeting_points(circles, edges, room)
    inside = np.flatnonzero(_inside(room, x, y))
    x, y = x[inside], y[inside]
    if len(x) and len(tx):
        clear = _is_clear(x, y, tx, ty, None if are_discs else (across, along), reach)
        x, y = x[clear], y[clear]
    return np.column_stack((x, y))


def is_free(
    room: Room, things: Array, x_mm: float, y_mm: float, forgiven_mm: float = ROUNDING_MM
) -> bool:
    """Whether the body can stand with its middle here; `forgiven_mm`: an overlap that may be."""
    x, y = np.array([x_mm]), np.array([y_mm])
    if room.is_empty or not _inside(room, x, y, forgiven_mm)[0]:
        return False
    body = room.body
    halves = (
        np.maximum(things[:, 2] + body.half_width_mm - forgiven_mm, 0),
        np.maximum(things[:, 3] + body.half_depth_mm - forgiven_mm, 0),
    )
    reach = things[:, 4] + body.radius_mm - forgiven_mm
    return bool(_is_clear(x, y, things[:, 0], things[:, 1], halves, reach)[0])


def _touching_curves(
    room: Room, things: Array, across: Array, along: Array, reach: Array
) -> tuple[Rows, Rows]:
    """The circles and lines on which the middle lies when the body touches something."""
    x, y = things[:, 0], things[:, 1]
    # Corners of two rectangles meet only when both keep a spacing; sides suffice between them.
    is_round = things[:, 2] + things[:, 3] == 0
    cornered = is_round if room.body.half_width_mm > 0 else ~is_round
    cx, cy, ca, cb, cr = (
        x[cornered],
        y[cornered],
        across[cornered],
        along[cornered],
        reach[cornered],
    )
    circle_x = [room.circle_rows[0], cx + ca, cx + ca, cx - ca, cx - ca]
    circle_y = [room.circle_rows[1], cy + cb, cy - cb, cy + cb, cy - cb]
    radii = [room.circle_rows[2], cr, cr, cr, cr]
    square = slice(None)
    if room.body.half_width_mm == 0:
        plain, square = is_round, ~is_round
        circle_x.append(x[plain])
        circle_y.append(y[plain])
        radii.append(reach[plain])
    sx, sy = x[square], y[square]
    wide, deep = across[square] + reach[square], along[square] + reach[square]
    one, none = np.ones(2 * len(sx)), np.zeros(2 * len(sx))
    normal_x, normal_y, reaches = room.edge_rows
    lines = (
        np.concatenate((normal_x, one, none)),
        np.concatenate((normal_y, none, one)),
        np.concatenate((reaches, sx + wide, sx - wide, sy + deep, sy - deep)),
    )
    return (np.concatenate(circle_x), np.concatenate(circle_y), np.concatenate(radii)), lines


def _meeting_points(circles: Rows, edges: Rows, room: Room) -> tuple[Array, Array]:
    xs, ys = [room.seeds[:, 0]], [room.seeds[:, 1]]
    if len(circles[0]) > 1:
        _circles_meet(circles, xs, ys)
    if len(edges[0]):
        if len(circles[0]):
            _circles_meet_edges(circles, edges, xs, ys)
        _edges_meet(edges, xs, ys)
    return np.concatenate(xs), np.concatenate(ys)


def _circles_meet(circles: Rows, xs: list[Array], ys: list[Array]) -> None:
    x, y, radius = circles
    first, second = _pairs(len(x))
    dx, dy = x[second] - x[first], y[second] - y[first]
    apart2 = dx * dx + dy * dy
    r1, r2 = radius[first], radius[second]
    most, least = r1 + r2, r1 - r2
    meets = (apart2 <= most * most) & (apart2 >= least * least) & (apart2 > 1e-9)
    index = np.flatnonzero(meets)
    dx, dy, apart2, r1, r2 = dx[index], dy[index], apart2[index], r1[index], r2[index]
    first = first[index]
    r1 = r1 * r1
    share = (apart2 + r1 - r2 * r2) / (2 * apart2)
    off = np.sqrt(np.maximum(r1 / apart2 - share * share, 0))
    mx, my = x[first] + share * dx, y[first] + share * dy
    ox, oy = off * dy, off * dx
    xs += [mx + ox, mx - ox]
    ys += [my - oy, my + oy]


def _circles_meet_edges(circles: Rows, edges: Rows, xs: list[Array], ys: list[Array]) -> None:
    x, y, radius = circles
    nx, ny, reach = edges
    to_line = reach - x[:, None] * nx - y[:, None] * ny
    half2 = (radius * radius)[:, None] - to_line * to_line
    row, column = np.nonzero(half2 >= 0)
    to_line, half = to_line[row, column], np.sqrt(half2[row, column])
    nx, ny = nx[column], ny[column]
    fx, fy = x[row] + nx * to_line, y[row] + ny * to_line
    ox, oy = ny * half, nx * half
    xs += [fx - ox, fx + ox]
    ys += [fy + oy, fy - oy]


def _edges_meet(edges: Rows, xs: list[Array], ys: list[Array]) -> None:
    nx, ny, reach = edges
    first, second = _pairs(len(nx))
    cross = nx[first] * ny[second] - ny[first] * nx[second]
    index = np.flatnonzero(np.abs(cross) > 1e-9)
    first, second, cross = first[index], second[index], cross[index]
    xs.append((reach[first] * ny[second] - reach[second] * ny[first]) / cross)
    ys.append((reach[second] * nx[first] - reach[first] * nx[second]) / cross)


def _inside(room: Room, x: Array, y: Array, forgiven_mm: float = ROUNDING_MM) -> NDArray[np.bool_]:
    inside = np.ones(len(x), dtype=bool)
    for cx, cy, radius in room.circles.tolist():
        dx, dy = x - cx, y - cy
        inside &= dx * dx + dy * dy <= (radius + forgiven_mm) ** 2
    for nx, ny, reach in room.edges.tolist():
        inside &= x * nx + y * ny <= reach + forgiven_mm
    return inside


def _is_clear(
    x: Array, y: Array, tx: Array, ty: Array, halves: tuple[Array, Array] | None, reach: Array
) -> NDArray[np.bool_]:
    """Which places are far enough from every thing; `halves` is None among discs."""
    dx, dy = x[:, None] - tx, y[:, None] - ty
    if halves is not None:
        dx = np.maximum(np.abs(dx) - (halves[0] - ROUNDING_MM), 0)
        dy = np.maximum(np.abs(dy) - (halves[1] - ROUNDING_MM), 0)
    least = np.maximum(reach - ROUNDING_MM, 1e-12)
    clear: NDArray[np.bool_] = np.all(dx * dx + dy * dy >= least * least, axis=1)
    return clear


def clearances_mm(room: Room, things: Array, points: Array) -> Array:
    """For each place, how far the body is from each edge and each thing (one column each)."""
    x, y = points[:, 0:1], points[:, 1:2]
    body = room.body
    dx = np.maximum(np.abs(x - things[:, 0]) - things[:, 2] - body.half_width_mm, 0)
    dy = np.maximum(np.abs(y - things[:, 1]) - things[:, 3] - body.half_depth_mm, 0)
    to_things = np.sqrt(dx * dx + dy * dy) - things[:, 4] - body.radius_mm
    to_circles = room.circles[:, 2] - np.sqrt(
        (x - room.circles[:, 0]) ** 2 + (y - room.circles[:, 1]) ** 2
    )
    to_edges = room.edges[:, 2] - x * room.edges[:, 0] - y * room.edges[:, 1]
    return np.concatenate((to_things, to_circles, to_edges), axis=1)
