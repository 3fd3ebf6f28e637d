"""How much footprints on a shelf are in each other's way, and which way out is downhill.

Every footprint is a core rectangle (half sizes, 0 for a disc) grown by a radius. Two of them must
keep a reach (their radii and the spacing) between their cores; the overlap is what is lacking.
The height of a crowd is the sum of the squares of all overlaps: 0 when everything stands free. A
whole batch of crowds is measured at once. Lengths are mm; nothing is turned but by quarters,
which is a choice of half sizes (`turned_overlaps` lets rectangles turn freely).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from firings.calculations.planning.region import Region

Array = NDArray[np.float64]
Row = tuple[float, float, float, float, float]

# From so many pairs on it pays to look for those that are near each other first.
_MANY_PAIRS = 64


class Walls:
    """The outline of a shelf for the corners of footprints: circles and edges as rows."""

    def __init__(self, region: Region) -> None:
        circles = [(c.x_mm, c.y_mm, c.radius_mm) for c in region.outline.circles]
        self.circles = [one for one in set(circles) if not _is_idle(one, circles)]
        self.circles.sort()
        self.edges = sorted({(e.normal_x, e.normal_y, e.reach_mm) for e in region.outline.edges})
        self.normals = np.array([edge[:2] for edge in self.edges]).reshape(-1, 2)
        self.reaches = np.array([edge[2] for edge in self.edges])

    def lacks(self, x: Array, y: Array, radius: Array) -> tuple[Array, Array, Array, Array]:
        """Height and slope for points with a radius (rows, points), and the worst overhang."""
        height, along_x, along_y = np.zeros(len(x)), np.zeros_like(x), np.zeros_like(x)
        lacking = np.zeros_like(x)
        for cx, cy, reach in self.circles:
            dx, dy = x - cx, y - cy
            away = np.sqrt(dx * dx + dy * dy)
            lack = np.maximum(away + (radius - reach), 0)
            height += np.einsum("ij,ij->i", lack, lack)
            pull = lack / np.maximum(away, 1e-12)
            along_x += pull * dx
            along_y += pull * dy
            lacking = np.maximum(lacking, lack)
        for nx, ny, reach in self.edges:
            lack = np.maximum(x * nx + y * ny + (radius - reach), 0)
            height += np.einsum("ij,ij->i", lack, lack)
            along_x += nx * lack
            along_y += ny * lack
            lacking = np.maximum(lacking, lack)
        return height, along_x, along_y, lacking


def _is_idle(circle: tuple[float, float, float], circles: Sequence[tuple[float, ...]]) -> bool:
    """Whether another circle lies wholly inside this one, so that this one never matters."""
    x, y, radius = circle
    return any(
        other != circle and np.hypot(other[0] - x, other[1] - y) + other[2] <= radius
        for other in circles
    )


def _way_out(dx: Array, dy: Array, over_x: Array, over_y: Array) -> tuple[Array, Array, Array]:
    """How far two cores are apart (negative: how deep they interlock), and the way out."""
    out_x, out_y = np.maximum(over_x, 0), np.maximum(over_y, 0)
    out = np.sqrt(out_x * out_x + out_y * out_y)
    apart = out + np.minimum(np.maximum(over_x, over_y), 0)
    is_in, is_wide = out <= 0, over_x > over_y
    safe = np.where(is_in, 1.0, out)
    away_x = np.where(is_in, is_wide, out_x / safe) * np.where(dx < 0, -1.0, 1.0)
    away_y = np.where(is_in, ~is_wide, out_y / safe) * np.where(dy < 0, -1.0, 1.0)
    return apart, away_x, away_y


class Crowd:
    """A batch of crowds on one shelf. `across`, `along`, `radius`: (rows, pieces).

    A piece with no size at all (all three 0) is absent: it is in nobody's way. `weights` (rows,
    pairs) is how strongly each pair counts; a search may raise it for pairs that stay stuck.
    """

    # The arc of one radian, for crowds whose pieces have a turn of their own.
    arm_mm = 0.0

    def __init__(
        self,
        walls: Walls,
        across: Array,
        along: Array,
        radius: Array,
        gap_mm: float,
        in_the_way: Sequence[Row],
    ) -> None:
        self.walls, self.gap_mm = walls, gap_mm
        self.fixed = np.array(in_the_way, dtype=float).reshape(-1, 5)
        rows, count = across.shape
        self.count = count
        first, second = np.triu_indices(count, 1)
        piece = np.repeat(np.arange(count), len(self.fixed))
        thing = np.tile(np.arange(len(self.fixed)), count)
        self.first = np.concatenate((first, piece))
        self.second = np.concatenate((second, np.full_like(thing, -1)))
        self.pairs, self.own_pairs = len(self.first), len(first)
        self.sign = np.zeros((self.pairs, count))
        self.sign[np.arange(self.pairs), self.first] = 1
        self.sign[np.arange(len(first)), second] = -1
        self.sign_t = np.ascontiguousarray(self.sign.T)
        self.touch = np.abs(self.sign)
        self.thing_x = np.concatenate((np.zeros(len(first)), self.fixed[thing, 0]))
        self.thing_y = np.concatenate((np.zeros(len(first)), self.fixed[thing, 1]))
        self._thing = thing
        self.weights = np.ones((rows, self.pairs))
        self.set_sizes(across, along, radius)

    def set_sizes(self, across: Array, along: Array, radius: Array) -> None:
        """Give the pieces of every row their half sizes and radius."""
        self.across, self.along, self.radius = across, along, radius
        own = self.own_pairs
        first, second = self.first, self.second[:own]
        thing = self._thing

        def both(sizes: Array, column: int) -> Array:
            one = sizes[:, first].copy()
            one[:, :own] += sizes[:, second]
            one[:, own:] += self.fixed[thing, column]
            return one

        self.pair_across, self.pair_along = both(across, 2), both(along, 3)
        self.reach = both(radius, 4)
        self.reach[:, :own] += self.gap_mm
        is_here = (across + along + radius) > 0
        is_pair = is_here[:, first]
        is_pair[:, :own] &= is_here[:, second]
        self.reach = np.where(is_pair, self.reach, -1e9)
        self.is_round = not (across.any() or along.any() or self.fixed[:, 2:4].any())
        has_corners = (across + along).any(axis=0)
        flat = np.flatnonzero(~has_corners)
        cornered = np.flatnonzero(has_corners)
        self.owner = np.concatenate((flat, np.repeat(cornered, 4)))
        signs_x = np.concatenate((np.zeros(len(flat)), np.tile([1.0, -1, 1, -1], len(cornered))))
        signs_y = np.concatenate((np.zeros(len(flat)), np.tile([1.0, 1, -1, -1], len(cornered))))
        self.corner_x = across[:, self.owner] * signs_x
        self.corner_y = along[:, self.owner] * signs_y
        self.corner_radius = radius[:, self.owner]
        self.owning = np.zeros((len(self.owner), self.count))
        self.owning[np.arange(len(self.owner)), self.owner] = 1

    def only(self, row: int) -> "Crowd":
        """This crowd of the batch alone, every pair weighing the same."""
        sizes = (self.across, self.along, self.radius)
        rows = [size[row : row + 1] for size in sizes]
        fixed = [(x, y, wide, deep, reach) for x, y, wide, deep, reach in self.fixed.tolist()]
        alone = type(self)(self.walls, rows[0], rows[1], rows[2], self.gap_mm, fixed)
        alone.arm_mm = self.arm_mm
        return alone

    def cost_at(self, batch: Array, row: int, piece: int, x: Array, y: Array) -> Array:
        """The height that a piece of one row would add if it stood at each of some places."""
        across, along, radius = (s[row] for s in (self.across, self.along, self.radius))
        others = np.flatnonzero(across + along + radius > 0)
        others = others[others != piece]
        fixed = self.fixed
        thing_x = np.concatenate((batch[row, others], fixed[:, 0]))
        thing_y = np.concatenate((batch[row, others + self.count], fixed[:, 1]))
        wide = np.concatenate((across[others], fixed[:, 2])) + across[piece]
        deep = np.concatenate((along[others], fixed[:, 3])) + along[piece]
        reach = np.concatenate((radius[others] + self.gap_mm, fixed[:, 4])) + radius[piece]
        over_x = np.abs(x[:, None] - thing_x) - wide
        over_y = np.abs(y[:, None] - thing_y) - deep
        out_x, out_y = np.maximum(over_x, 0), np.maximum(over_y, 0)
        apart = np.sqrt(out_x * out_x + out_y * out_y)
        apart += np.minimum(np.maximum(over_x, over_y), 0)
        lack = np.maximum(reach - apart, 0)
        corners = [(sx * across[piece], sy * along[piece]) for sx in (-1, 1) for sy in (-1, 1)]
        corner_x = np.concatenate([x + dx for dx, _ in corners])[:, None]
        corner_y = np.concatenate([y + dy for _, dy in corners])[:, None]
        at_wall, *_ = self.walls.lacks(corner_x, corner_y, np.full_like(corner_x, radius[piece]))
        cost: Array = (lack * lack).sum(axis=1) + at_wall.reshape(4, -1).max(axis=0)
        return cost

    def measure(self, batch: Array, hair_mm: float = 0.0) -> tuple[Array, Array]:
        """Heights (rows) and slopes (rows, 2 x pieces) of a batch of middles (all x, all y)."""
        count = self.count
        x, y = batch[:, :count], batch[:, count:]
        at_wall, wall_x, wall_y, _ = self.walls.lacks(
            x[:, self.owner] + self.corner_x,
            y[:, self.owner] + self.corner_y,
            self.corner_radius + hair_mm,
        )
        slope = np.empty_like(batch)
        if self.is_round or self.pairs < _MANY_PAIRS:
            lack, away_x, away_y = self._lacks(x, y, hair_mm)
            push = self.weights * lack
            height = np.einsum("ij,ij->i", push, lack)
            pull_x, pull_y = (push * away_x) @ self.sign, (push * away_y) @ self.sign
        else:
            height, pull_x, pull_y = self._sparse(x, y, hair_mm)
        slope[:, :count] = 2 * (wall_x @ self.owning - pull_x)
        slope[:, count:] = 2 * (wall_y @ self.owning - pull_y)
        return height + at_wall, slope

    def _sparse(self, x: Array, y: Array, hair_mm: float) -> tuple[Array, Array, Array]:
        """Heights and pulls, looking closely only at pairs that are near each other."""
        dx = x @ self.sign_t - self.thing_x
        dy = y @ self.sign_t - self.thing_y
        over_x, over_y = np.abs(dx), np.abs(dy)
        over_x -= self.pair_across
        over_y -= self.pair_along
        near = np.flatnonzero(np.maximum(over_x, over_y) < self.reach + hair_mm)
        rows, pair = np.divmod(near, self.pairs)
        over_x, over_y = over_x.ravel()[near], over_y.ravel()[near]
        apart, away_x, away_y = _way_out(dx.ravel()[near], dy.ravel()[near], over_x, over_y)
        lack = np.maximum(self.reach.ravel()[near] + hair_mm - apart, 0)
        push = self.weights.ravel()[near] * lack
        count, size = self.count, x.size
        height: Array = np.bincount(rows, push * lack, len(x)).astype(float)
        own = pair < self.own_pairs
        first = rows * count + self.first[pair]
        second = rows[own] * count + self.second[pair[own]]
        pulls: list[Array] = []
        for pull in (push * away_x, push * away_y):
            change = np.bincount(first, pull, size) - np.bincount(second, pull[own], size)
            pulls.append(change.reshape(x.shape).astype(float))
        return height, pulls[0], pulls[1]

    def _lacks(self, x: Array, y: Array, hair_mm: float) -> tuple[Array, Array, Array]:
        """For each pair what it lacks, and the unit vector that leads its first piece away."""
        dx = x @ self.sign_t - self.thing_x
        dy = y @ self.sign_t - self.thing_y
        if self.is_round:
            apart = np.sqrt(dx * dx + dy * dy)
            safe = np.maximum(apart, 1e-9)
            return np.maximum(self.reach + hair_mm - apart, 0), dx / safe, dy / safe
        over_x, over_y = np.abs(dx) - self.pair_across, np.abs(dy) - self.pair_along
        apart, away_x, away_y = _way_out(dx, dy, over_x, over_y)
        return np.maximum(self.reach + hair_mm - apart, 0), away_x, away_y

    def worst_mm(self, batch: Array) -> Array:
        """The greatest overlap or overhang of each row: 0 when everything stands free."""
        lack, over = self._everything(batch)
        worst_pair: Array = lack.max(axis=1, initial=0)
        return np.maximum(worst_pair, over.max(axis=1, initial=0))

    def burdens(self, batch: Array) -> Array:
        """For each piece (rows, pieces) the sum of the squares of what it lacks."""
        lack, over = self._everything(batch)
        burden: Array = (lack * lack) @ self.touch + (over * over) @ self.owning
        return burden

    def _everything(self, batch: Array) -> tuple[Array, Array]:
        x, y = batch[:, : self.count], batch[:, self.count : 2 * self.count]
        lack, _, _ = self._lacks(x, y, 0.0)
        *_, over = self.walls.lacks(
            x[:, self.owner] + self.corner_x, y[:, self.owner] + self.corner_y, self.corner_radius
        )
        return lack, over
