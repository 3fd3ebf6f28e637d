"""Overlaps of a crowd whose rectangles may turn by any angle.

Each row holds the middles (all x, all y) and the turns, as the length of an arc so that a step in
each counts alike. How far two footprints interlock is the least over the four directions of their
sides (separating axes: S. Gottschalk, M. Lin, D. Manocha, "OBBTree", SIGGRAPH 1996, from memory);
how far they are apart is the least distance from a corner of one to the other.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firings.calculations.planning.descent import Array
from firings.calculations.planning.overlaps import Crowd, Row, Walls

_FAR_MM = -1e8


@dataclass(frozen=True, slots=True)
class _Touching:
    """The pairs that lack room: row, first and second piece (or thing), what they lack, the unit
    vector that leads the first away, and how the distance grows as either turns."""

    row: NDArray[np.intp]
    pair: NDArray[np.intp]
    lack: Array
    away_x: Array
    away_y: Array
    turn_first: Array
    turn_second: Array


class TurnedCrowd(Crowd):
    """A batch of crowds of rectangles and discs that also have a turn each."""

    def __init__(
        self,
        walls: Walls,
        across: Array,
        along: Array,
        radius: Array,
        gap_mm: float,
        in_the_way: Sequence[Row],
    ) -> None:
        super().__init__(walls, across, along, radius, gap_mm, in_the_way)
        spans = (across + along)[across > 0]
        # The arc of one radian: about how far a corner moves.
        self.arm_mm = max(float(spans.mean()) / 2, 1.0) if len(spans) else 1.0
        things = len(self.fixed)
        self._second = self.second.copy()
        self._second[self.own_pairs :] = self.count + np.tile(np.arange(things), self.count)

    def turns(self, batch: Array) -> Array:
        """The turns in radians (rows, pieces)."""
        return batch[:, 2 * self.count :] / self.arm_mm

    def measure(self, batch: Array, hair_mm: float = 0.0) -> tuple[Array, Array]:
        """Heights (rows) and slopes (rows, 3 x pieces) of a batch."""
        count, rows = self.count, len(batch)
        height, slope = self._at_walls(batch, hair_mm)
        found = self._touching(batch, hair_mm)
        push = self.weights[found.row, found.pair] * found.lack
        height += np.bincount(found.row, push * found.lack, rows)
        first, second = self.first[found.pair], self._second[found.pair]
        is_own = second < count
        pulls = (push * found.away_x, push * found.away_y, push * found.turn_first / self.arm_mm)
        backs = (-pulls[0], -pulls[1], push * found.turn_second / self.arm_mm)
        size = rows * count
        for number, (pull, back) in enumerate(zip(pulls, backs, strict=True)):
            change = np.bincount(found.row * count + first, pull, size)
            change += np.bincount(found.row[is_own] * count + second[is_own], back[is_own], size)
            slope[:, number * count : (number + 1) * count] -= 2 * change.reshape(rows, count)
        return height, slope

    def _corners(self, batch: Array) -> tuple[Array, Array]:
        """How far each corner is from its middle, to the right and to the back."""
        turn = self.turns(batch)[:, self.owner]
        cos, sin = np.cos(turn), np.sin(turn)
        return self.corner_x * cos - self.corner_y * sin, self.corner_x * sin + self.corner_y * cos

    def _at_walls(self, batch: Array, hair_mm: float) -> tuple[Array, Array]:
        count = self.count
        right, back = self._corners(batch)
        height, wall_x, wall_y, _ = self.walls.lacks(
            batch[:, :count][:, self.owner] + right,
            batch[:, count : 2 * count][:, self.owner] + back,
            self.corner_radius + hair_mm,
        )
        slope = np.empty_like(batch)
        slope[:, :count] = 2 * wall_x @ self.owning
        slope[:, count : 2 * count] = 2 * wall_y @ self.owning
        turning = (wall_y * right - wall_x * back) / self.arm_mm
        slope[:, 2 * count :] = 2 * turning @ self.owning
        return height, slope

    def _extended(self, batch: Array) -> tuple[Array, ...]:
        """x, y, cosine and sine of the turn, half sizes: of the pieces, then of the things."""
        count, rows = self.count, len(batch)
        turn = self.turns(batch)
        own = (
            batch[:, :count],
            batch[:, count : 2 * count],
            np.cos(turn),
            np.sin(turn),
            self.across,
            self.along,
        )
        x, y, wide, deep, _ = self.fixed.T
        still = (x, y, np.ones_like(x), np.zeros_like(x), wide, deep)
        return tuple(
            np.concatenate((values, np.broadcast_to(thing, (rows, len(thing)))), axis=1)
            for values, thing in zip(own, still, strict=True)
        )

    def _touching(self, batch: Array, hair_mm: float) -> _Touching:
        values = self._extended(batch)
        reach = self.reach + hair_mm
        one = [value[:, self.first] for value in values]
        other = [value[:, self._second] for value in values]
        dx, dy = one[0] - other[0], one[1] - other[1]
        # A first sieve: nothing is nearer than its circumscribed circles.
        bulk = np.hypot(one[4], one[5]) + np.hypot(other[4], other[5]) + reach
        row, pair = np.nonzero((dx * dx + dy * dy < bulk * bulk) & (reach > _FAR_MM))
        first = [value[row, pair] for value in one]
        second = [value[row, pair] for value in other]
        apart, away_x, away_y, turn_first, turn_second = _interlocked(first, second)
        reach = reach[row, pair]
        loose = np.flatnonzero((apart > 0) & (apart < reach))
        if len(loose):
            nearest = _corner_to_side(
                [value[loose] for value in first], [value[loose] for value in second]
            )
            for values_all, some in zip(
                (apart, away_x, away_y, turn_first, turn_second), nearest, strict=True
            ):
                values_all[loose] = some
        lack = reach - apart
        near = np.flatnonzero(lack > 0)
        return _Touching(
            row[near],
            pair[near],
            lack[near],
            away_x[near],
            away_y[near],
            turn_first[near],
            turn_second[near],
        )

    def _everything(self, batch: Array) -> tuple[Array, Array]:
        count = self.count
        lack = np.zeros((len(batch), self.pairs))
        found = self._touching(batch, 0.0)
        lack[found.row, found.pair] = found.lack
        right, back = self._corners(batch)
        *_, over = self.walls.lacks(
            batch[:, :count][:, self.owner] + right,
            batch[:, count : 2 * count][:, self.owner] + back,
            self.corner_radius,
        )
        return lack, over


def _interlocked(first: list[Array], second: list[Array]) -> tuple[Array, ...]:
    """The greatest gap along the four directions of the sides, and how it changes."""
    dx, dy = first[0] - second[0], first[1] - second[1]
    (c1, s1, a1, b1), (c2, s2, a2, b2) = first[2:], second[2:]
    cos, sin = c1 * c2 + s1 * s2, s1 * c2 - c1 * s2
    flat, steep = np.abs(cos), np.abs(sin)
    flat_change = -np.where(cos < 0, -sin, sin)
    steep_change = np.where(sin < 0, -cos, cos)
    u1, w1 = dx * c1 + dy * s1, dy * c1 - dx * s1
    u2, w2 = dx * c2 + dy * s2, dy * c2 - dx * s2
    gaps = np.stack(
        (
            np.abs(u1) - a1 - a2 * flat - b2 * steep,
            np.abs(w1) - b1 - a2 * steep - b2 * flat,
            np.abs(u2) - a2 - a1 * flat - b1 * steep,
            np.abs(w2) - b2 - a1 * steep - b1 * flat,
        )
    )
    axis = gaps.argmax(axis=0)
    apart = gaps.max(axis=0)
    along = np.choose(axis, (u1, w1, u2, w2))
    side = np.where(along < 0, -1.0, 1.0)
    away_x = side * np.choose(axis, (c1, -s1, c2, -s2))
    away_y = side * np.choose(axis, (s1, c1, s2, c2))
    swing = side * np.choose(axis, (w1, -u1, w2, -u2))
    # How the reach of the other one along this direction grows as the turn between them grows.
    spread = np.choose(
        axis,
        (
            a2 * flat_change + b2 * steep_change,
            a2 * steep_change + b2 * flat_change,
            a1 * flat_change + b1 * steep_change,
            a1 * steep_change + b1 * flat_change,
        ),
    )
    is_first = axis < 2
    turn_first = np.where(is_first, swing, 0.0) - spread
    turn_second = np.where(is_first, 0.0, swing) + spread
    return apart, away_x, away_y, turn_first, turn_second


def _corner_to_side(first: list[Array], second: list[Array]) -> tuple[Array, ...]:
    """The least distance from a corner of one to the other, and how it changes."""
    out = _corners_to_box(first, second)
    back = _corners_to_box(second, first)
    is_out = out[0] <= back[0]
    signs = (1.0, -1.0, -1.0)
    apart, away_x, away_y = (
        np.where(is_out, one, sign * other)
        for sign, one, other in zip(signs, out[:3], back[:3], strict=True)
    )
    return (
        apart,
        away_x,
        away_y,
        np.where(is_out, out[3], back[4]),
        np.where(is_out, out[4], back[3]),
    )


def _corners_to_box(one: list[Array], box: list[Array]) -> tuple[Array, ...]:
    """Of the corner of `one` nearest to a box: distance, direction, and turn of one and box."""
    x, y, c, s, a, b = one
    sx = np.array([[1.0], [-1.0], [1.0], [-1.0]])
    sy = np.array([[1.0], [1.0], [-1.0], [-1.0]])
    arm_x, arm_y = sx * a * c - sy * b * s, sx * a * s + sy * b * c
    dx, dy = x + arm_x - box[0], y + arm_y - box[1]
    u, w = dx * box[2] + dy * box[3], dy * box[2] - dx * box[3]
    out_u, out_w = np.maximum(np.abs(u) - box[4], 0), np.maximum(np.abs(w) - box[5], 0)
    apart = np.hypot(out_u, out_w)
    pick = apart.argmin(axis=0)[None, :]

    def picked(values: Array) -> Array:
        taken: Array = np.take_along_axis(values, pick, axis=0)[0]
        return taken

    apart, arm_x, arm_y, dx, dy = (picked(values) for values in (apart, arm_x, arm_y, dx, dy))
    safe = np.maximum(apart, 1e-12)
    along_u = picked(np.where(u < 0, -out_u, out_u)) / safe
    along_w = picked(np.where(w < 0, -out_w, out_w)) / safe
    away_x = along_u * box[2] - along_w * box[3]
    away_y = along_u * box[3] + along_w * box[2]
    return (
        apart,
        away_x,
        away_y,
        away_y * arm_x - away_x * arm_y,
        away_x * dy - away_y * dx,
    )
