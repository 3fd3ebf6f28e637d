"""A whole set of footprints onto one shelf, near the limit of what is possible.

Everything is put on the shelf at once, overlapping, and let go: each piece is pushed out of the
others, the posts and the edge, downhill on the sum of squared overlaps (`overlaps`, `descent`).
Where the crowd comes to rest with overlaps left, one piece is lifted out and set down elsewhere,
two change places, or a rectangle is turned, and the crowd is let go again. A batch of crowds goes
side by side. The idea is that of the quasi-physical methods for unequal circles: W. Huang, Y. Li,
H. Akeb, C. Li, "Greedy algorithms for packing unequal circles into a circular container", Journal
of the Operational Research Society 56 (2005) 539-548, and the basin hopping of A. Grosso,
A. Jamali, M. Locatelli, F. Schoen, "Solving the problem of packing equal and unequal circles in a
circular container", Journal of Global Optimization 47 (2010) 63-81 (both from memory).
"""

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from firings.calculations.footprints import Disc, Footprint, check_gap_mm
from firings.calculations.load_plan import Placement
from firings.calculations.outlines import Body, Outline, place_within
from firings.calculations.planning.descent import descend
from firings.calculations.planning.overlaps import Array, Crowd, Row, Walls
from firings.calculations.planning.region import Region
from firings.calculations.shelves import Bounds

# What an answer may be wrong by; the search asks for a hair more room than needed, so that what
# is left when it stops lies within.
VALID_MM = 1e-6
HAIR_MM = 1e-6
_ENOUGH_MM2 = 2e-12
_ROWS = 24
_STEPS_A_ROUND = 60
_PLACES_TRIED = 64
_RENEW_EVERY = 6


def squeeze(
    region: Region,
    pieces: Mapping[str, Footprint],
    gap_mm: float,
    *,
    seed: int,
    steps: int,
    start: Sequence[Placement] | None = None,
    in_the_way: Sequence[Row] = (),
) -> tuple[Placement, ...] | None:
    """Places for all `pieces` (id: footprint) on one shelf, or None when none were found.

    `gap_mm`: clear distance between two pieces. `steps`: how many steps downhill a batch of
    crowds may take; the same seed and steps give the same answer. `start`: where some of the
    pieces stand now. `in_the_way`: other things that stay where they are, as rows (x, y, half
    width, half depth, reach). An answer is right to 1e-6 mm. None is no proof that there is no
    way. Raises ValueError for a spacing that cannot be, and for `steps` below 1.
    """
    check_gap_mm("gap_mm", gap_mm)
    if steps < 1:
        raise ValueError(f"steps must be 1 or more, got {steps}")
    if not pieces:
        return ()
    if cannot_fit(region, pieces, gap_mm):
        return None
    search = _Search(region, pieces, gap_mm, seed, in_the_way)
    search.begin(start or ())
    return search.run(steps)


def cannot_fit(region: Region, pieces: Mapping[str, Footprint], gap_mm: float) -> bool:
    """Whether a set certainly does not fit, without looking for a way.

    Pieces and shelf grown by half the spacing: the areas of what must not overlap cannot sum to
    more than the shelf (a convex outline grows by its length times the border, Steiner). And each
    piece must fit alone, the two widest discs side by side.
    """
    half = gap_mm / 2
    taken = sum(_grown_area_mm2(footprint, half) for footprint in pieces.values())
    if taken > _grown_shelf_mm2(region, half) - _posts_mm2(region, half):
        return True
    if region.outline.circles:
        widest = 2 * min(circle.radius_mm for circle in region.outline.circles)
        narrow = sorted((_inner_mm(footprint) for footprint in pieces.values()), reverse=True)
        if sum(narrow[:2]) * 2 + gap_mm * (len(narrow) > 1) > widest + VALID_MM:
            return True
    return not all(
        _fits_alone(region.outline, footprint, region.bounds_mm)
        for footprint in set(pieces.values())
    )


def _inner_mm(footprint: Footprint) -> float:
    if isinstance(footprint, Disc):
        return footprint.diameter_mm / 2
    return min(footprint.width_mm, footprint.depth_mm) / 2


def _grown_area_mm2(footprint: Footprint, border: float) -> float:
    if isinstance(footprint, Disc):
        return math.pi * (footprint.diameter_mm / 2 + border) ** 2
    width, depth = footprint.width_mm, footprint.depth_mm
    return width * depth + 2 * border * (width + depth) + math.pi * border**2


@lru_cache(maxsize=256)
def _grown_shelf_mm2(region: Region, border: float) -> float:
    left, front, right, back = region.bounds_mm
    around = 2 * (right - left + back - front)
    areas = [region.area_mm2 + 0.5 + border * around + math.pi * border**2]
    areas += [math.pi * (c.radius_mm + border) ** 2 for c in region.outline.circles]
    return min(areas)


@lru_cache(maxsize=256)
def _posts_mm2(region: Region, border: float) -> float:
    """The area of the posts that stand wholly on the shelf, each less the border."""
    total = 0.0
    for post in region.posts:
        reach = post.radius_mm - border
        body = Body(0.0, 0.0, max(reach, 0.0))
        if reach > 0 and region.outline.overhang_mm(body, post.x_mm, post.y_mm) <= border:
            total += math.pi * reach**2
    return total


@lru_cache(maxsize=4096)
def _fits_alone(outline: Outline, footprint: Footprint, bounds_mm: Bounds) -> bool:
    return any(
        place_within(outline, Body(across, along, radius), bounds_mm) is not None
        for across, along, radius in {_sizes(footprint, False), _sizes(footprint, True)}
    )


def _sizes(footprint: Footprint, is_turned: bool) -> tuple[float, float, float]:
    if isinstance(footprint, Disc):
        return 0.0, 0.0, footprint.diameter_mm / 2
    across, along = footprint.width_mm / 2, footprint.depth_mm / 2
    return (along, across, 0.0) if is_turned else (across, along, 0.0)


class _Search:
    """A batch of crowds of the same pieces, each with its own places and quarter turns."""

    def __init__(
        self,
        region: Region,
        pieces: Mapping[str, Footprint],
        gap_mm: float,
        seed: int,
        in_the_way: Sequence[Row],
    ) -> None:
        self.ids = tuple(pieces)
        self.region = region
        self.random = np.random.default_rng(seed)
        sizes = np.array([_sizes(footprint, False) for footprint in pieces.values()])
        self.wide, self.deep, self.radius = sizes.T
        self.can_turn = np.flatnonzero(self.wide != self.deep)
        self.count = len(self.ids)
        posts = [(p.x_mm, p.y_mm, 0.0, 0.0, p.radius_mm) for p in region.posts]
        self.is_turned = np.zeros((_ROWS, self.count), dtype=bool)
        self.crowd = Crowd(
            Walls(region),
            *self._half_sizes(self.is_turned),
            np.tile(self.radius, (_ROWS, 1)),
            gap_mm,
            (*posts, *in_the_way),
        )

    def _half_sizes(self, is_turned: NDArray[np.bool_]) -> tuple[Array, Array]:
        return (
            np.where(is_turned, self.deep, self.wide),
            np.where(is_turned, self.wide, self.deep),
        )

    def begin(self, start: Sequence[Placement]) -> None:
        """Row 0 as it stands now; the others at random, more and more of them afresh."""
        left, front, right, back = self.region.bounds_mm
        shape = (_ROWS, self.count)
        x = self.random.uniform(0.85 * left, 0.85 * right, shape)
        y = self.random.uniform(0.85 * front, 0.85 * back, shape)
        if len(self.can_turn):
            turns = self.random.random((_ROWS, len(self.can_turn))) < 0.5
            self.is_turned[:, self.can_turn] = turns
        standing = {put.piece_id: put for put in start if put.piece_id in self.ids}
        kept = _ROWS * 2 // 3 if standing else 0
        for number, piece_id in enumerate(self.ids):
            if piece_id in standing:
                put = standing[piece_id]
                x[:kept, number], y[:kept, number] = put.x_mm, put.y_mm
                self.is_turned[:kept, number] = round(put.turn_deg / 90) % 2 == 1
        self.places = np.concatenate((x, y), axis=1)
        self._set_sizes()
        for number, piece_id in enumerate(self.ids):
            if standing and piece_id not in standing:
                for row in range(kept):
                    self._set_down(self.places, row, number)

    def _set_sizes(self) -> None:
        across, along = self._half_sizes(self.is_turned)
        self.crowd.set_sizes(across, along, self.crowd.radius)

    def run(self, steps: int) -> tuple[Placement, ...] | None:
        self.heights = np.full(_ROWS, np.inf)
        was_at, was_turned = self.places, self.is_turned.copy()
        rounds = max(1, round(steps / _STEPS_A_ROUND))
        for number in range(rounds):
            found, heights = descend(
                lambda batch: self.crowd.measure(batch, HAIR_MM),
                self.places,
                min(steps, _STEPS_A_ROUND),
                enough=_ENOUGH_MM2,
                is_one_enough=True,
            )
            best = int(heights.argmin())
            if heights[best] < 1e-3:
                answer = self._polished(found[best : best + 1], best)
                if answer is not None:
                    return answer
            is_better = heights < self.heights * 1.02
            self.heights = np.where(is_better, heights, self.heights)
            self.places = np.where(is_better[:, None], found, was_at)
            self.is_turned = np.where(is_better[:, None], self.is_turned, was_turned)
            if number % _RENEW_EVERY == _RENEW_EVERY - 1:
                self._renew()
            was_at, was_turned = self.places.copy(), self.is_turned.copy()
            self._set_sizes()
            self._stir()
        return None

    def _polished(self, place: Array, row: int) -> tuple[Placement, ...] | None:
        """One crowd let go until it is right to a millionth of a millimetre, or None."""
        crowd = self.crowd.only(row)
        place, _ = descend(
            lambda batch: crowd.measure(batch, HAIR_MM),
            place,
            400,
            enough=_ENOUGH_MM2,
            is_one_enough=True,
        )
        if crowd.worst_mm(place)[0] > VALID_MM:
            return None
        x, y = place[0, : self.count].tolist(), place[0, self.count :].tolist()
        return tuple(
            Placement(piece_id, x[n], y[n], 90 if self.is_turned[row, n] else 0)
            for n, piece_id in enumerate(self.ids)
        )

    def _renew(self) -> None:
        """The worst quarter of the batch becomes copies of the best quarter."""
        order = np.argsort(self.heights, kind="stable")
        share = _ROWS // 4
        best, worst = order[:share], order[-share:]
        self.places[worst] = self.places[best]
        self.is_turned[worst] = self.is_turned[best]
        self.heights[worst] = self.heights[best]

    def _stir(self) -> None:
        """One change in each crowd: a piece set down elsewhere, two swapped, a rectangle turned."""
        burdens = self.crowd.burdens(self.places)
        turned = False
        for row in range(_ROWS):
            share = burdens[row] + 1e-9 + 0.05 * burdens[row].mean()
            piece = int(self.random.choice(self.count, p=share / share.sum()))
            choice = self.random.random()
            if choice < 0.25 and self.count > 1:
                self._swap(row, piece)
            elif choice < 0.4 and len(self.can_turn):
                turning = int(self.random.choice(self.can_turn))
                self.is_turned[row, turning] ^= True
                turned = True
            else:
                self._set_down(self.places, row, piece)
        if turned:
            self._set_sizes()

    def _swap(self, row: int, piece: int) -> None:
        other = int(self.random.integers(self.count - 1))
        other += other >= piece
        for one, two in ((piece, other), (piece + self.count, other + self.count)):
            self.places[row, [one, two]] = self.places[row, [two, one]]

    def _set_down(self, places: Array, row: int, piece: int) -> None:
        """The piece where it is least in the way, of some places taken at random."""
        left, front, right, back = self.region.bounds_mm
        x = self.random.uniform(left, right, _PLACES_TRIED)
        y = self.random.uniform(front, back, _PLACES_TRIED)
        cost = self.crowd.cost_at(places, row, piece, x, y)
        first = int(cost.argmin())
        places[row, piece], places[row, piece + self.count] = x[first], y[first]
