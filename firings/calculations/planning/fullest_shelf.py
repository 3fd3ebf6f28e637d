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
from firings.calculations.planning.crowds import NEARLY_MM2, Crowds, MayTurn
from firings.calculations.planning.region import Region
from firings.calculations.planning.squeeze import cannot_fit

_ROWS = 24
_STEPS_A_ROUND = 60
_GIVEN_UP_AFTER = 12
_SHARE_AFRESH = 0.15
_SETS_TRIED = 48
# Seats of a row, over what a shelf full of pieces of the mean area would need.
_SEATS_SPARE = 1.5
# After so many rounds without a better set, sets of a little less area may take its place.
_PATIENCE = 80
# After so many rounds without a fuller shelf than ever the search begins again from nothing.
_AFRESH_AFTER = 200


def pack_best(
    region: Region,
    pieces: Mapping[str, Footprint],
    gap_mm: float,
    *,
    seed: int,
    steps: int,
    may_turn: MayTurn = "quarter",
) -> tuple[Placement, ...]:
    """The pieces (id: footprint) of the greatest area found for one shelf, each in its place.

    `gap_mm`: clear distance between two pieces. `steps`: steps downhill of a batch of crowds; the
    same seed and steps give the same answer. Raises ValueError like `squeeze`.
    """
    best: tuple[Placement, ...] = ()
    for _, found in fuller_and_fuller(
        region, pieces, gap_mm, seed=seed, steps=steps, may_turn=may_turn
    ):
        best = found
    return best


def fuller_and_fuller(
    region: Region,
    pieces: Mapping[str, Footprint],
    gap_mm: float,
    *,
    seed: int,
    steps: int,
    may_turn: MayTurn = "quarter",
) -> Iterator[tuple[int, tuple[Placement, ...]]]:
    """Better and better answers to `pack_best`, each with the steps taken until then."""
    check_gap_mm("gap_mm", gap_mm)
    if steps < 1:
        raise ValueError(f"steps must be 1 or more, got {steps}")
    usable = {
        piece_id: footprint
        for piece_id, footprint in pieces.items()
        if not cannot_fit(region, {piece_id: footprint}, gap_mm, may_turn)
    }
    if not usable:
        return
    choice = _Choice(region, usable, gap_mm, seed, may_turn)
    for number in range(max(1, round(steps / _STEPS_A_ROUND))):
        if choice.round():
            yield (number + 1) * _STEPS_A_ROUND, choice.best_placements()
        if choice.has_all:
            return


class _Choice:
    """The best set so far and a batch of crowds that would be better."""

    def __init__(
        self,
        region: Region,
        pieces: Mapping[str, Footprint],
        gap_mm: float,
        seed: int,
        may_turn: MayTurn,
    ) -> None:
        self.ids = tuple(pieces)
        footprints = tuple(pieces.values())
        areas = np.array([area_mm2(footprint) for footprint in footprints], dtype=float)
        self.areas = np.append(areas, 0.0)
        self.shelf_mm2 = _room_mm2(region)
        seats = int(np.searchsorted(np.cumsum(np.sort(areas)), 1.02 * self.shelf_mm2)) + 1
        usual = math.ceil(_SEATS_SPARE * self.shelf_mm2 / areas.mean())
        self.seats = min(len(footprints), seats, max(usual, 12))
        who = np.full((_ROWS, self.seats), len(footprints))
        self.crowds = Crowds(region, footprints, gap_mm, seed, (), who, may_turn)
        self.random = self.crowds.random
        self.nobody = len(footprints)
        self.best_mm2 = self.mark_mm2 = self.top_mm2 = 0.0
        self.idle = self.since_top = 0
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
            self.crowds.placement(
                self.ids[self.best_who[seat]], self.best_places, self.best_turned, seat
            )
            for seat in seats.tolist()
        )

    @property
    def has_all(self) -> bool:
        """Whether every piece stands on the shelf."""
        return bool((self.best_who != self.nobody).sum() == self.nobody)

    def row_mm2(self, row: int) -> float:
        return float(self.areas[self.crowds.who[row]].sum())

    def round(self) -> bool:
        """Let the crowds go once, take in what came free, stir the rest; whether it is better."""
        crowds = self.crowds
        heights = crowds.let_go(_STEPS_A_ROUND, is_one_enough=False)
        is_spent = heights < NEARLY_MM2
        is_better = self._take_in(is_spent)
        self.idle += 1
        self.since_top = 0 if is_better else self.since_top + 1
        if self.since_top > _AFRESH_AFTER:
            self._begin_again()
            is_spent[:] = True
        elif self.idle > _PATIENCE:
            self.mark_mm2 = self.best_mm2 * self.random.uniform(0.95, 0.99)
            self.idle = 0
        crowds.keep_better(heights, 1.0)
        for row in range(_ROWS):
            is_old = crowds.ages[row] > _GIVEN_UP_AFTER
            if is_old or is_spent[row] or self.row_mm2(row) <= self.mark_mm2:
                self._make(row)
        fresh = crowds.heights == math.inf
        crowds.note_kept()
        crowds.take_sizes()
        self._stir(fresh)
        crowds.take_sizes()
        return is_better

    def _begin_again(self) -> None:
        """Forget the set at hand; what is known of the fullest shelf stays."""
        self.best_mm2 = self.mark_mm2 = 0.0
        self.best_who = np.full(self.seats, self.nobody)
        self.since_top = self.idle = 0

    def _take_in(self, is_free: NDArray[np.bool_]) -> bool:
        crowds = self.crowds
        free: list[int] = np.flatnonzero(is_free).tolist()
        for row in sorted(free, key=self.row_mm2, reverse=True):
            if self.row_mm2(row) <= self.mark_mm2:
                return False
            places = crowds.freed(row)
            if places is not None and crowds.who[row].tolist() != self.best_who.tolist():
                self.best_mm2 = self.mark_mm2 = self.row_mm2(row)
                self.idle = 0
                self.best_who, self.best_places = crowds.who[row].copy(), places
                self.best_turned = crowds.is_turned[row].copy()
                is_top = self.best_mm2 > self.top_mm2
                self.top_mm2 = max(self.top_mm2, self.best_mm2)
                return is_top
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
        least = self.mark_mm2 if self.best_mm2 else self.shelf_mm2 * self.random.uniform(0.05, 0.8)
        who = np.where(kept, self.best_who, self.nobody)
        chosen = self._chosen(who, least, more)
        if chosen is None:
            kept[:], who = False, np.full(self.seats, self.nobody)
            chosen = self._chosen(who, least, more)
        if chosen is None:
            chosen = self._largest()
        self._seat(row, chosen, kept)

    def _seat(self, row: int, chosen: NDArray[np.intp], kept: NDArray[np.bool_]) -> None:
        """The chosen pieces on the shelf: what was kept as it stands, the others set down."""
        crowds, seats = self.crowds, self.seats
        crowds.who[row] = chosen
        turns = crowds.random_turns((seats,))
        crowds.is_turned[row] = np.where(kept, self.best_turned, turns)
        if not kept.any():
            left, front, right, back = crowds.bounds_mm
            crowds.places[row, :seats] = self.random.uniform(left, right, seats) * 0.85
            crowds.places[row, seats : 2 * seats] = self.random.uniform(front, back, seats) * 0.85
            return
        crowds.places[row] = self.best_places
        crowds.take_row_sizes(row)
        fresh = np.flatnonzero(~kept & (chosen != self.nobody))
        order = fresh[np.argsort(-self.areas[chosen[fresh]], kind="stable")]
        for seat in order.tolist():
            crowds.set_down(row, seat)

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

    def _largest(self) -> NDArray[np.intp]:
        """The largest pieces, in an order of chance."""
        largest = np.argsort(-self.areas[:-1], kind="stable")[: self.seats]
        return self.random.permutation(largest)

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
        likely = waiting[(sums > self.mark_mm2) & (sums <= max(self.mark_mm2 * 1.03, 1.0))]
        if len(likely):
            crowds.who[row, seat] = likely[self.random.integers(len(likely))]
            if self.random.random() < 0.5 and not crowds.is_free:
                crowds.is_turned[row, seat] ^= True


def _room_mm2(region: Region) -> float:
    """No more than this can be filled: the shelf, or the circles that ware must lie in."""
    areas = [math.pi * circle.radius_mm**2 for circle in region.outline.circles]
    return min(float(region.area_mm2), *areas) if areas else float(region.area_mm2)
