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
    across = things[:, 2] + body.half_width_mm
    along = things[:, 3] + body.half_depth_mm
    reach = things[:, 4] + body.radius_mm
    if body.half_width_mm == 0 and not across.any() and not along.any():
        circles = np.concatenate((room.circles, np.column_stack((things[:, :2], reach))))
        edges = room.edges
    else:
        circles, edges = _touching_curves(room, things, across, along, reach)
    found = _meeting_points(circles, edges)
    found = np.concatenate((found, room.seeds))
    found = found[_inside(room, found)]
    if len(found) and len(things):
        found = found[_is_clear(found, things, across, along, reach)]
    return found


def is_free(room: Room, things: Array, x_mm: float, y_mm: float) -> bool:
    """Whether the body can stand with its middle here."""
    point = np.array([[x_mm, y_mm]])
    if not _inside(room, point)[0]:
        return False
    body = room.body
    across, along = things[:, 2] + body.half_width_mm, things[:, 3] + body.half_depth_mm
    return bool(_is_clear(point, things, across, along, things[:, 4] + body.radius_mm)[0])


def _touching_curves(
    room: Room, things: Array, across: Array, along: Array, reach: Array
) -> tuple[Array, Array]:
    """The circles and lines on which the middle lies when the body touches something."""
    x, y = things[:, 0], things[:, 1]
    circles = [room.circles]
    # Corners of two rectangles meet only when both keep a spacing; sides suffice between them.
    is_round = (things[:, 2] == 0) & (things[:, 3] == 0)
    cornered = is_round if room.body.half_width_mm > 0 else ~is_round
    plain = is_round & (room.body.half_width_mm == 0)
    if plain.any():
        circles.append(np.column_stack((x[plain], y[plain], reach[plain])))
    if cornered.any():
        cx, cy, ca, cb, cr = (values[cornered] for values in (x, y, across, along, reach))
        for sign_x in (-1, 1):
            for sign_y in (-1, 1):
                circles.append(np.column_stack((cx + sign_x * ca, cy + sign_y * cb, cr)))
    square = ~plain
    sx, sy = x[square], y[square]
    wide, deep = across[square] + reach[square], along[square] + reach[square]
    one, none = np.ones_like(sx), np.zeros_like(sx)
    lines = [
        room.edges,
        np.column_stack((one, none, sx + wide)),
        np.column_stack((one, none, sx - wide)),
        np.column_stack((none, one, sy + deep)),
        np.column_stack((none, one, sy - deep)),
    ]
    return np.concatenate(circles), np.concatenate(lines)


def _meeting_points(circles: Array, edges: Array) -> Array:
    points = []
    if len(circles) > 1:
        points += _circles_meet(circles)
    if len(edges):
        if len(circles):
            points += _circles_meet_edges(circles, edges)
        points.append(_edges_meet(edges))
    return np.concatenate(points) if points else np.zeros((0, 2))


def _circles_meet(circles: Array) -> list[Array]:
    first, second = _pairs(len(circles))
    x, y, radius = circles[:, 0], circles[:, 1], circles[:, 2]
    dx, dy = x[second] - x[first], y[second] - y[first]
    apart2 = dx * dx + dy * dy
    r1, r2 = radius[first], radius[second]
    meets = (apart2 <= (r1 + r2) ** 2) & (apart2 >= (r1 - r2) ** 2) & (apart2 > 1e-9)
    index = np.flatnonzero(meets)
    dx, dy, apart2, r1, r2 = dx[index], dy[index], apart2[index], r1[index], r2[index]
    first = first[index]
    r1 = r1 * r1
    share = (apart2 + r1 - r2 * r2) / (2 * apart2)
    off = np.sqrt(np.maximum(r1 / apart2 - share * share, 0))
    mx, my = x[first] + share * dx, y[first] + share * dy
    ox, oy = off * dy, off * dx
    return [np.column_stack((mx + ox, my - oy)), np.column_stack((mx - ox, my + oy))]


def _circles_meet_edges(circles: Array, edges: Array) -> list[Array]:
    nx, ny, reach = edges[:, 0], edges[:, 1], edges[:, 2]
    to_line = reach[None, :] - circles[:, 0:1] * nx - circles[:, 1:2] * ny
    half2 = circles[:, 2:3] ** 2 - to_line * to_line
    row, column = np.nonzero(half2 >= 0)
    to_line, half = to_line[row, column], np.sqrt(half2[row, column])
    nx, ny = nx[column], ny[column]
    fx, fy = circles[row, 0] + nx * to_line, circles[row, 1] + ny * to_line
    return [
        np.column_stack((fx - ny * half, fy + nx * half)),
        np.column_stack((fx + ny * half, fy - nx * half)),
    ]


def _edges_meet(edges: Array) -> Array:
    first, second = _pairs(len(edges))
    nx, ny, reach = edges[:, 0], edges[:, 1], edges[:, 2]
    cross = nx[first] * ny[second] - ny[first] * nx[second]
    index = np.flatnonzero(np.abs(cross) > 1e-9)
    first, second, cross = first[index], second[index], cross[index]
    return np.column_stack(
        (
            (reach[first] * ny[second] - reach[second] * ny[first]) / cross,
            (reach[second] * nx[first] - reach[first] * nx[second]) / cross,
        )
    )


def _inside(room: Room, points: Array) -> NDArray[np.bool_]:
    x, y = points[:, 0], points[:, 1]
    inside = np.ones(len(points), dtype=bool)
    for cx, cy, radius in room.circles.tolist():
        dx, dy = x - cx, y - cy
        inside &= dx * dx + dy * dy <= (radius + ROUNDING_MM) ** 2
    for nx, ny, reach in room.edges.tolist():
        inside &= x * nx + y * ny <= reach + ROUNDING_MM
    return inside


def _is_clear(
    points: Array, things: Array, across: Array, along: Array, reach: Array
) -> NDArray[np.bool_]:
    dx = points[:, 0:1] - things[:, 0]
    dy = points[:, 1:2] - things[:, 1]
    if across.any() or along.any():
        dx = np.maximum(np.abs(dx) - (across - ROUNDING_MM), 0)
        dy = np.maximum(np.abs(dy) - (along - ROUNDING_MM), 0)
    least = np.maximum(reach - ROUNDING_MM, 1e-12)
    clear: NDArray[np.bool_] = (dx * dx + dy * dy >= least * least).all(axis=1)
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
