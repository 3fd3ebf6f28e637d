"""A batch of crowds on one shelf: let go, stirred, let go again.

Each row of the batch is a set of pieces with places of its own, overlapping or not. Letting go is
`descent` on the overlaps of `overlaps`; where a crowd comes to rest with overlaps left, a piece is
lifted out and set down where it is least in the way, two change places, or a rectangle is turned.
The idea is that of the quasi-physical methods for unequal circles: W. Huang, Y. Li, H. Akeb,
C. Li, "Greedy algorithms for packing unequal circles into a circular container", Journal of the
Operational Research Society 56 (2005) 539-548, and the basin hopping of A. Grosso, A. Jamali,
M. Locatelli, F. Schoen, "Solving the problem of packing equal and unequal circles in a circular
container", Journal of Global Optimization 47 (2010) 63-81 (both from memory).
"""

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from firings.calculations.footprints import Disc, Footprint
from firings.calculations.planning.descent import Array, descend
from firings.calculations.planning.overlaps import Crowd, Row, Walls
from firings.calculations.planning.region import Region

# What an answer may be wrong by; the search asks for a hair more room than needed, so that what
# is left when it stops lies within.
VALID_MM = 1e-6
HAIR_MM = 1e-6
_ENOUGH_MM2 = 2e-12
# A crowd with less than this height is let go to the end, to see whether nothing is left.
NEARLY_MM2 = 1e-3
_PLACES_TRIED = 64


def sizes_of(footprint: Footprint) -> tuple[float, float, float]:
    """Half width, half depth and radius of a footprint that is not turned."""
    if isinstance(footprint, Disc):
        return 0.0, 0.0, footprint.diameter_mm / 2
    return footprint.width_mm / 2, footprint.depth_mm / 2, 0.0


class Crowds:
    """Rows of crowds. `who` (rows, seats): numbers of `footprints`, or `nobody` for a free seat."""

    def __init__(
        self,
        region: Region,
        footprints: Sequence[Footprint],
        gap_mm: float,
        seed: int,
        in_the_way: Sequence[Row],
        who: NDArray[np.intp],
    ) -> None:
        self.bounds_mm = region.bounds_mm
        self.random = np.random.default_rng(seed)
        sizes = np.array([*(sizes_of(footprint) for footprint in footprints), (0.0, 0.0, 0.0)])
        self.wide, self.deep, self.radius = sizes.T
        self.can_turn = self.wide != self.deep
        self.has_turns = bool(self.can_turn.any())
        self.nobody = len(footprints)
        self.rows, self.seats = who.shape
        self.who = who
        self.is_turned = self._random_turns((self.rows, self.seats))
        posts = [(p.x_mm, p.y_mm, 0.0, 0.0, p.radius_mm) for p in region.posts]
        self.crowd = Crowd(Walls(region), *self._sizes(), gap_mm, (*posts, *in_the_way))
        self.places = self._random_places()
        self.heights = np.full(self.rows, np.inf)
        self.ages = np.zeros(self.rows, dtype=int)
        self._kept = (self.who.copy(), self.is_turned.copy(), self.places.copy())

    def _sizes(self) -> tuple[Array, Array, Array]:
        wide, deep, turned = self.wide[self.who], self.deep[self.who], self.is_turned
        across, along = np.where(turned, deep, wide), np.where(turned, wide, deep)
        return across, along, self.radius[self.who]

    def _random_turns(self, shape: tuple[int, ...]) -> NDArray[np.bool_]:
        if not self.has_turns:
            return np.zeros(shape, dtype=bool)
        return self.random.random(shape) < 0.5

    def _random_places(self) -> Array:
        left, front, right, back = self.bounds_mm
        shape = (self.rows, self.seats)
        x = self.random.uniform(0.85 * left, 0.85 * right, shape)
        y = self.random.uniform(0.85 * front, 0.85 * back, shape)
        return np.concatenate((x, y), axis=1)

    def take_sizes(self) -> None:
        """Measure from now on with the pieces and turns that the rows have."""
        self.crowd.set_sizes(*self._sizes())

    # ---- letting go

    def let_go(self, steps: int) -> Array:
        """Every crowd downhill, until one stands free or all are stuck; the heights reached."""
        self.places, heights = descend(
            lambda batch: self.crowd.measure(batch, HAIR_MM),
            self.places,
            steps,
            enough=_ENOUGH_MM2,
            is_one_enough=True,
            stuck=0.01,
        )
        return heights

    def freed(self, row: int) -> Array | None:
        """The places of one crowd let go until it is right to a millionth of a mm, or None."""
        crowd = self.crowd.only(row)
        place, _ = descend(
            lambda batch: crowd.measure(batch, HAIR_MM),
            self.places[row : row + 1],
            400,
            enough=_ENOUGH_MM2,
            is_one_enough=True,
            stuck=1e-6,
        )
        return place[0] if crowd.worst_mm(place)[0] <= VALID_MM else None

    def keep_better(self, heights: Array, by: float) -> None:
        """Rows that came out higher than `by` times what they were go back to what they were."""
        is_better = heights <= self.heights * by
        self.ages = np.where(heights < 0.98 * self.heights, 0, self.ages + 1)
        self.heights = np.where(is_better, heights, self.heights)
        who, is_turned, places = self._kept
        self.who = np.where(is_better[:, None], self.who, who)
        self.is_turned = np.where(is_better[:, None], self.is_turned, is_turned)
        self.places = np.where(is_better[:, None], self.places, places)
        self.note_kept()
        self.take_sizes()

    def note_kept(self) -> None:
        """What the rows are now is what they go back to."""
        self._kept = (self.who.copy(), self.is_turned.copy(), self.places.copy())

    def renew(self) -> None:
        """The worst quarter of the batch becomes copies of the best quarter."""
        order = np.argsort(self.heights, kind="stable")
        share = max(1, self.rows // 4)
        best, worst = order[:share], order[-share:]
        for values in (self.places, self.is_turned, self.who, self.heights):
            values[worst] = values[best]
        self.note_kept()

    # ---- stirring

    def stir(self) -> None:
        """One change in each crowd, where things are most in each other's way."""
        burdens = self.crowd.burdens(self.places)
        for row in range(self.rows):
            seat = self.burdened_seat(row, burdens[row])
            choice = self.random.random()
            if choice < 0.25:
                self.swap(row, seat)
            elif choice < 0.4 and self.has_turns:
                self.turn_one(row)
            else:
                self.set_down(row, seat)

    def burdened_seat(self, row: int, burden: Array) -> int:
        """A seat at random, the likelier the more its piece is in the way."""
        share = burden + 0.05 * burden.mean() + 1e-9
        share = np.where(self.who[row] == self.nobody, 0.0, share)
        sums = np.cumsum(share)
        seat = int(np.searchsorted(sums, self.random.random() * sums[-1], side="right"))
        return min(seat, self.seats - 1)

    def swap(self, row: int, seat: int) -> None:
        """Two pieces change places."""
        seated = np.flatnonzero(self.who[row] != self.nobody)
        other = int(seated[self.random.integers(len(seated))])
        for one, two in ((seat, other), (seat + self.seats, other + self.seats)):
            self.places[row, [one, two]] = self.places[row, [two, one]]

    def turn_one(self, row: int) -> None:
        seats = np.flatnonzero(self.can_turn[self.who[row]])
        if len(seats):
            seat = int(seats[self.random.integers(len(seats))])
            self.is_turned[row, seat] ^= True

    def set_down(self, row: int, seat: int) -> None:
        """The piece where it is least in the way, of some places taken at random."""
        left, front, right, back = self.bounds_mm
        x = self.random.uniform(left, right, _PLACES_TRIED)
        y = self.random.uniform(front, back, _PLACES_TRIED)
        cost = self.crowd.cost_at(self.places, row, seat, x, y)
        first = int(cost.argmin())
        self.places[row, seat], self.places[row, seat + self.seats] = x[first], y[first]
