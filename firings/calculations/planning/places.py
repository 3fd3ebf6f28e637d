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
# The four corners of a rectangle: right or left, back or front of its middle.
_RIGHT, _BACK = np.array([1.0, 1.0, -1.0, -1.0]), np.array([1.0, -1.0, 1.0, -1.0])


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


@dataclass(frozen=True, slots=True)
class Curves:
    """What the middle lies on when the body touches something: circles and straight lines.

    `circle_of`, `line_of`: the number of the thing each belongs to, -1 for the room's own. A
    corner's circle counts only beyond its corner, a side's line only along the side: `corners`
    has the signs (x, y) of the quarter, 0 for a whole circle; `spans` the middle and the half
    length of each line, 0 and infinity for the room's.
    """

    circles: Rows
    circle_of: NDArray[np.intp]
    corners: tuple[Array, Array]
    lines: Rows
    line_of: NDArray[np.intp]
    spans: tuple[Array, Array]


def free_places(room: Room, things: Array, known: tuple[int, Array] | None = None) -> Array:
    """Every place (rows x, y) where the body touches two things and overlaps none.

    `known`: the answer for the first so many of the things, from which the rest is found quicker.
    """
    if room.is_empty:
        return np.zeros((0, 2))
    body = room.body
    first_new, before = (-1, None) if known is None else known
    tx, ty = things[:, 0], things[:, 1]
    across = things[:, 2] + body.half_width_mm
    along = things[:, 3] + body.half_depth_mm
    reach = things[:, 4] + body.radius_mm
    are_discs = body.half_width_mm == 0 and not (across.any() or along.any())
    curves = (
        _circles_only(room, things, reach)
        if are_discs
        else _touching_curves(room, things, across, along, reach)
    )
    x, y = _meeting_points(curves, first_new, room)
    inside = np.flatnonzero(_inside(room, x, y))
    x, y = x[inside], y[inside]
    halves = None if are_discs else (across, along)
    if len(x) and len(tx):
        clear = _is_clear(x, y, tx, ty, halves, reach)
        x, y = x[clear], y[clear]
    found = np.column_stack((x, y))
    if before is None or not len(before):
        return found
    new = slice(first_new, None)
    halves = None if halves is None else (across[new], along[new])
    still = _is_clear(before[:, 0], before[:, 1], tx[new], ty[new], halves, reach[new])
    return np.concatenate((before[still], found))


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


def _circles_only(room: Room, things: Array, reach: Array) -> Curves:
    """The curves of a disc among discs."""
    cx, cy, radius = room.circle_rows
    count = len(room.edges)
    none = np.zeros(len(cx) + len(things))
    return Curves(
        (
            np.concatenate((cx, things[:, 0])),
            np.concatenate((cy, things[:, 1])),
            np.concatenate((radius, reach)),
        ),
        np.concatenate((np.full(len(cx), -1), np.arange(len(things)))),
        (none, none),
        room.edge_rows,
        np.full(count, -1),
        (np.zeros(count), np.full(count, np.inf)),
    )


def _touching_curves(
    room: Room, things: Array, across: Array, along: Array, reach: Array
) -> Curves:
    """The circles and lines on which the middle lies when the body touches something."""
    x, y = things[:, 0], things[:, 1]
    number = np.arange(len(things))
    # Corners of two rectangles meet only when both keep a spacing; sides suffice between them.
    is_round = things[:, 2] + things[:, 3] == 0
    is_cornered = is_round if room.body.half_width_mm > 0 else ~is_round
    who = np.tile(number[is_cornered], 4)
    quarter = np.repeat(np.arange(4), int(is_cornered.sum()))
    right, back = _RIGHT[quarter], _BACK[quarter]
    parts = [(x[who] + right * across[who], y[who] + back * along[who], reach[who])]
    owners, plain = [who], number[:0]
    if room.body.half_width_mm == 0:
        plain = number[is_round]
        parts.append((x[plain], y[plain], reach[plain]))
        owners.append(plain)
    parts.insert(0, room.circle_rows)
    owners.insert(0, np.full(len(room.circles), -1))
    before, after = np.zeros(len(room.circles)), np.zeros(len(plain))
    square = number if room.body.half_width_mm > 0 else number[~is_round]
    sx, sy = x[square], y[square]
    wide, deep = across[square] + reach[square], along[square] + reach[square]
    one, none = np.ones(2 * len(square)), np.zeros(2 * len(square))
    normal_x, normal_y, reaches = room.edge_rows
    return Curves(
        (
            np.concatenate([part[0] for part in parts]),
            np.concatenate([part[1] for part in parts]),
            np.concatenate([part[2] for part in parts]),
        ),
        np.concatenate(owners),
        (np.concatenate((before, right, after)), np.concatenate((before, back, after))),
        (
            np.concatenate((normal_x, one, none)),
            np.concatenate((normal_y, none, one)),
            np.concatenate((reaches, sx + wide, sx - wide, sy + deep, sy - deep)),
        ),
        np.concatenate((np.full(len(room.edges), -1), square, square, square, square)),
        (
            np.concatenate((np.zeros(len(room.edges)), sy, sy, sx, sx)),
            np.concatenate(
                (
                    np.full(len(room.edges), np.inf),
                    *(along[square], along[square], across[square], across[square]),
                )
            ),
        ),
    )


def _meeting_points(curves: Curves, first_new: int, room: Room) -> tuple[Array, Array]:
    """Where two of the curves meet; only with a thing from `first_new` on, unless it is -1."""
    xs, ys = ([room.seeds[:, 0]], [room.seeds[:, 1]]) if first_new < 0 else ([], [])
    if len(curves.circle_of) > 1:
        _circles_meet(curves, first_new, xs, ys)
    if len(curves.line_of):
        if len(curves.circle_of):
            _circles_meet_lines(curves, first_new, xs, ys)
        _lines_meet(curves, first_new, xs, ys)
    if not xs:
        return np.zeros(0), np.zeros(0)
    return np.concatenate(xs), np.concatenate(ys)


def _new_pairs(
    owners: NDArray[np.intp], first_new: int
) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
    """Pairs of curves, each once; those of two old things only when all are new."""
    count = len(owners)
    if first_new < 0:
        return _pairs(count)
    fresh = np.flatnonzero(owners >= first_new)
    return np.repeat(fresh, count), np.tile(np.arange(count), len(fresh))


def _circles_meet(curves: Curves, first_new: int, xs: list[Array], ys: list[Array]) -> None:
    x, y, radius = curves.circles
    first, second = _new_pairs(curves.circle_of, first_new)
    dx, dy = x[second] - x[first], y[second] - y[first]
    apart2 = dx * dx + dy * dy
    r1, r2 = radius[first], radius[second]
    most, least = r1 + r2, r1 - r2
    meets = (apart2 <= most * most) & (apart2 >= least * least) & (apart2 > 1e-9)
    index = np.flatnonzero(meets)
    dx, dy, apart2, r1, r2 = dx[index], dy[index], apart2[index], r1[index], r2[index]
    first, second = first[index], second[index]
    r1 = r1 * r1
    share = (apart2 + r1 - r2 * r2) / (2 * apart2)
    off = np.sqrt(np.maximum(r1 / apart2 - share * share, 0))
    mx, my = x[first] + share * dx, y[first] + share * dy
    ox, oy = off * dy, off * dx
    for px, py in ((mx + ox, my - oy), (mx - ox, my + oy)):
        counts = _beyond_corner(curves, first, px, py) & _beyond_corner(curves, second, px, py)
        xs.append(px[counts])
        ys.append(py[counts])


def _beyond_corner(
    curves: Curves, which: NDArray[np.intp], px: Array, py: Array
) -> NDArray[np.bool_]:
    """Whether points of circles lie in the quarter that counts."""
    right, back = curves.corners[0][which], curves.corners[1][which]
    to_x, to_y = px - curves.circles[0][which], py - curves.circles[1][which]
    beyond: NDArray[np.bool_] = (right * to_x >= -ROUNDING_MM) & (back * to_y >= -ROUNDING_MM)
    return beyond


def _along_side(curves: Curves, which: NDArray[np.intp], px: Array, py: Array) -> NDArray[np.bool_]:
    """Whether points of lines lie beside the side that counts."""
    middle, half = curves.spans[0][which], curves.spans[1][which]
    # A side's line stands upright or lies level, so the other coordinate runs along it.
    place = np.where(curves.lines[0][which] == 1.0, py, px)
    beside: NDArray[np.bool_] = np.abs(place - middle) <= half + ROUNDING_MM
    return beside


def _circles_meet_lines(curves: Curves, first_new: int, xs: list[Array], ys: list[Array]) -> None:
    x, y, radius = curves.circles
    nx, ny, reach = curves.lines
    to_line = reach - x[:, None] * nx - y[:, None] * ny
    half2 = (radius * radius)[:, None] - to_line * to_line
    meets = half2 >= 0
    if first_new >= 0:
        meets &= (curves.circle_of >= first_new)[:, None] | (curves.line_of >= first_new)
    row, column = np.nonzero(meets)
    to_line, half = to_line[row, column], np.sqrt(half2[row, column])
    nx, ny = nx[column], ny[column]
    fx, fy = x[row] + nx * to_line, y[row] + ny * to_line
    ox, oy = ny * half, nx * half
    for px, py in ((fx - ox, fy + oy), (fx + ox, fy - oy)):
        counts = _along_side(curves, column, px, py) & _beyond_corner(curves, row, px, py)
        xs.append(px[counts])
        ys.append(py[counts])


def _lines_meet(curves: Curves, first_new: int, xs: list[Array], ys: list[Array]) -> None:
    nx, ny, reach = curves.lines
    first, second = _new_pairs(curves.line_of, first_new)
    cross = nx[first] * ny[second] - ny[first] * nx[second]
    index = np.flatnonzero(np.abs(cross) > 1e-9)
    first, second, cross = first[index], second[index], cross[index]
    px = (reach[first] * ny[second] - reach[second] * ny[first]) / cross
    py = (reach[second] * nx[first] - reach[first] * nx[second]) / cross
    counts = _along_side(curves, first, px, py) & _along_side(curves, second, px, py)
    xs.append(px[counts])
    ys.append(py[counts])


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
