"""The fullest shelf: which of the pieces to take, and where each stands.

Every row of the batch is a set of pieces that would fill the shelf better than the best set so
far. Most such sets are made from the best one: a few neighbours are taken off, others of a little
more area take their room, and the crowd is let go; where pieces stay stuck, one is set down
elsewhere, swapped, turned, or exchanged for one that waits. Each crowd that comes free is a new
best set. A row that does not get better is given up and made anew.
"""

import math
from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from firings.calculations.footprints import Footprint, area_mm2, check_gap_mm
from firings.calculations.load_plan import Placement
from firings.calculations.planning.crowds import NEARLY_MM2, Crowds
from firings.calculations.planning.descent import Array
from firings.calculations.planning.region import Region

_ROWS = 24
_STEPS_A_ROUND = 60
_GIVEN_UP_AFTER = 6
_SHARE_AFRESH = 0.15
_SETS_TRIED = 48


def pack_best(
    region: Region, pieces: Mapping[str, Footprint], gap_mm: float, *, seed: int, steps: int
) -> tuple[Placement, ...]:
    """The pieces (id: footprint) of the greatest area found for one shelf, each in its place.

    `gap_mm`: clear distance between two pieces. `steps`: steps downhill of a batch of crowds; the
    same seed and steps give the same answer. Raises ValueError like `squeeze`.
    """
    best: tuple[Placement, ...] = ()
    for _, best in fuller_and_fuller(region, pieces, gap_mm, seed=seed, steps=steps):
        pass
    return best


def fuller_and_fuller(
    region: Region, pieces: Mapping[str, Footprint], gap_mm: float, *, seed: int, steps: int
) -> Iterator[tuple[int, tuple[Placement, ...]]]:
    """Better and better answers to `pack_best`, each with the steps taken until then."""
    check_gap_mm("gap_mm", gap_mm)
    if steps < 1:
        raise ValueError(f"steps must be 1 or more, got {steps}")
    if not pieces:
        return
    choice = _Choice(region, pieces, gap_mm, seed)
    for number in range(max(1, round(steps / _STEPS_A_ROUND))):
        if choice.round():
            yield (number + 1) * _STEPS_A_ROUND, choice.best_placements()


class _Choice:
    """The best set so far and a batch of crowds that would be better."""

    def __init__(
        self, region: Region, pieces: Mapping[str, Footprint], gap_mm: float, seed: int
    ) -> None:
        self.ids = tuple(pieces)
        footprints = tuple(pieces.values())
        areas = np.array([area_mm2(footprint) for footprint in footprints], dtype=float)
        self.areas = np.append(areas, 0.0)
        self.shelf_mm2 = _room_mm2(region)
        seats = int(np.searchsorted(np.cumsum(np.sort(areas)), 1.02 * self.shelf_mm2)) + 1
        self.seats = min(len(footprints), seats)
        who = np.full((_ROWS, self.seats), len(footprints))
        self.crowds = Crowds(region, footprints, gap_mm, seed, (), who)
        self.random = self.crowds.random
        self.nobody = len(footprints)
        self.best_mm2 = 0.0
        self.best_who = who[0].copy()
        self.best_turned = self.crowds.is_turned[0].copy()
        self.best_places = self.crowds.places[0].copy()
        for row in range(_ROWS):
            self._make(row)
        self.crowds.note_kept()
        self.crowds.take_sizes()

    def best_placements(self) -> tuple[Placement, ...]:
        seats = np.flatnonzero(self.best_who != self.nobody)
        return tuple(
            Placement(
                self.ids[self.best_who[seat]],
                float(self.best_places[seat]),
                float(self.best_places[seat + self.seats]),
                90 if self.best_turned[seat] else 0,
            )
            for seat in seats
        )

    def row_mm2(self, row: int) -> float:
        return float(self.areas[self.crowds.who[row]].sum())

    def round(self) -> bool:
        """Let the crowds go once, take in what came free, stir the rest; whether it is better."""
        crowds = self.crowds
        heights = crowds.let_go(_STEPS_A_ROUND)
        is_better = self._take_in(heights)
        crowds.keep_better(heights, 1.0)
        for row in range(_ROWS):
            if crowds.ages[row] > _GIVEN_UP_AFTER or self.row_mm2(row) <= self.best_mm2:
                self._make(row)
        fresh = crowds.heights == math.inf
        crowds.note_kept()
        crowds.take_sizes()
        self._stir(fresh)
        crowds.take_sizes()
        return is_better

    def _take_in(self, heights: Array) -> bool:
        crowds = self.crowds
        free = [row for row in np.flatnonzero(heights < NEARLY_MM2).tolist()]
        for row in sorted(free, key=self.row_mm2, reverse=True):
            if self.row_mm2(row) <= self.best_mm2:
                return False
            places = crowds.freed(row)
            if places is not None:
                self.best_mm2 = self.row_mm2(row)
                self.best_who, self.best_places = crowds.who[row].copy(), places
                self.best_turned = crowds.is_turned[row].copy()
                return True
        return False

    # ---- making sets that would be better

    def _make(self, row: int) -> None:
        """A new set for a row, of a little more area than the best."""
        crowds = self.crowds
        crowds.heights[row], crowds.ages[row] = math.inf, 0
        if self.best_mm2 == 0 or self.random.random() < _SHARE_AFRESH:
            kept = np.zeros(self.seats, dtype=bool)
        else:
            kept = self._kept_seats()
        more = self.shelf_mm2 * 10 ** self.random.uniform(-3.5, -1.3)
        least = self.best_mm2 if self.best_mm2 else self.shelf_mm2 * self.random.uniform(0.4, 0.8)
        who = np.where(kept, self.best_who, self.nobody)
        chosen = self._chosen(who, least, more)
        if chosen is None:
            return
        crowds.who[row] = chosen
        is_new = chosen != who
        crowds.is_turned[row] = np.where(
            is_new, crowds._random_turns((self.seats,)), self.best_turned
        )
        if kept.any():
            crowds.places[row] = self.best_places
            crowds.take_sizes()
            fresh = np.flatnonzero(is_new)
            order = fresh[np.argsort(-self.areas[chosen[fresh]], kind="stable")]
            for seat in order.tolist():
                crowds.set_down(row, seat)
        else:
            left, front, right, back = crowds.bounds_mm
            crowds.places[row, : self.seats] = self.random.uniform(left, right, self.seats) * 0.85
            crowds.places[row, self.seats :] = self.random.uniform(front, back, self.seats) * 0.85

    def _kept_seats(self) -> NDArray[np.bool_]:
        """The seats of the best set but for a few neighbours."""
        seated = np.flatnonzero(self.best_who != self.nobody)
        x, y = self.best_places[seated], self.best_places[seated + self.seats]
        gone = int(self.random.integers(0, min(5, len(seated)) + 1))
        first = int(self.random.integers(len(seated)))
        near = np.argsort(np.hypot(x - x[first], y - y[first]), kind="stable")[:gone]
        kept = np.zeros(self.seats, dtype=bool)
        kept[np.delete(seated, near)] = True
        return kept

    def _chosen(self, who: NDArray[np.intp], least: float, more: float) -> NDArray[np.intp] | None:
        """The set filled up, from sets at random, to the area nearest to `least` and `more`."""
        waiting = np.setdiff1d(np.arange(self.nobody), who)
        free = np.flatnonzero(who == self.nobody)
        lacking = least - self.areas[who].sum()
        most = min(len(free), len(waiting))
        if most == 0:
            return None
        tries = self.random.random((_SETS_TRIED, len(waiting))).argsort(axis=1)[:, :most]
        sums = np.cumsum(self.areas[waiting[tries]], axis=1)
        off = np.where(sums > lacking, np.abs(sums - lacking - more), math.inf)
        trial, last = divmod(int(off.argmin()), most)
        if off[trial, last] == math.inf:
            return None
        new = who.copy()
        new[free[: last + 1]] = waiting[tries[trial, : last + 1]]
        return new

    # ---- stirring

    def _stir(self, fresh: NDArray[np.bool_]) -> None:
        crowds = self.crowds
        burdens = crowds.crowd.burdens(crowds.places)
        for row in np.flatnonzero(~fresh).tolist():
            seat = crowds.burdened_seat(row, burdens[row])
            choice = self.random.random()
            if choice < 0.4:
                self._exchange(row, seat)
            elif choice < 0.6:
                crowds.swap(row, seat)
            elif choice < 0.75 and crowds.has_turns:
                crowds.turn_one(row)
            else:
                crowds.set_down(row, seat)

    def _exchange(self, row: int, seat: int) -> None:
        """A piece that is in the way for one that waits, so that the set is still better."""
        crowds = self.crowds
        waiting = np.setdiff1d(np.arange(self.nobody), crowds.who[row])
        rest = self.row_mm2(row) - self.areas[crowds.who[row, seat]]
        sums = rest + self.areas[waiting]
        likely = waiting[(sums > self.best_mm2) & (sums <= max(self.best_mm2 * 1.03, 1.0))]
        if len(likely):
            crowds.who[row, seat] = likely[self.random.integers(len(likely))]
            if self.random.random() < 0.5:
                crowds.is_turned[row, seat] ^= True


def _room_mm2(region: Region) -> float:
    """No more than this can be filled: the shelf, or the circles that ware must lie in."""
    areas = [math.pi * circle.radius_mm**2 for circle in region.outline.circles]
    return min(float(region.area_mm2), *areas) if areas else float(region.area_mm2)
