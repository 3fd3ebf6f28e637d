"""The best next load: which pieces to fire now, and where each stands.

The same ruin and recreate as for a queue, with one load and everything else in the bank. What is
sought is not an empty bank but the greatest worth in the kiln, by the stated rule: with nothing but
area in the rule, the fullest shelves. Pieces go in by worth for their height, with the balance
between the two drawn anew each time: a kiln of flat ware holds six shelves, one of vases two, and
the search has to try both.

The aging guarantee is kept apart from the worth. Units that have waited too long are put in first,
the longest wait before all, and a load that has one of them less, in that order, is never kept
instead of one that has it. The first of them always finds an empty kiln, so every unit that fits
the kiln at all is fired at the latest when all that have waited longer are gone.
"""

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date
from random import Random

from firings.calculations.footprints import area_mm2
from firings.calculations.kiln_space import KilnSpace
from firings.calculations.load_plan import LoadPlan
from firings.calculations.planning.anneal import Cooling, plain_mood, recreate_all, steps
from firings.calculations.planning.bounds import load_area_bound_mm2
from firings.calculations.planning.left_out import why_left_out
from firings.calculations.planning.preparing import Prepared, prepare
from firings.calculations.planning.problem import (
    Held,
    LoadProgress,
    LoadRule,
    QueuePiece,
    check_pieces,
)
from firings.calculations.planning.recreate import Loads, missing_packs
from firings.calculations.planning.towers import Item, items_in
from firings.calculations.planning.written import written_layers

COOLING = Cooling(0.6, 0.05, 800)
TURN_STEPS = 20
PATIENCE_STEPS = 60_000
FIRST_TRIES = 4
# An attempt that has found nothing in so many steps is left for a fresh one with fresh books.
ATTEMPT_STEPS = 3_000


@dataclass
class _LoadSearch:
    """One load being sought. `worth`: of each unit; `overdue`: units that waited too long."""

    prepared: Prepared
    worth: Sequence[float]
    overdue: tuple[int, ...]
    random: Random
    best: Loads = field(init=False)
    _floor: tuple[bool, ...] = field(init=False, default=())
    _level: int = 0

    def __post_init__(self) -> None:
        self._mean = sum(self.worth) / max(1, len(self.worth)) or 1.0
        make = self.prepared.make
        make.ranking = self.rank
        tries = [self._built(number) for number in range(FIRST_TRIES)]
        self.best = min(tries, key=self.measure)
        self.running = steps(
            self.best.copy(),
            make,
            self.measure,
            COOLING,
            self.random,
            lambda item: self.worth[item.unit],
        )

    def _built(self, number: int) -> Loads:
        make, state = self.prepared.make, self.prepared.new_state(1)
        noise, make.noise = make.noise, 0.0
        everything = [item for unit in self.prepared.units for item in unit]
        recreate_all(state, make, everything, plain_mood(number, self.random))
        state.bank += make.settle_packs(state, self.random)
        make.noise = noise
        return state

    def rank(self, unit: Sequence[Item], power: float, liking: float) -> tuple[int, float]:
        """Overdue units first, the longest wait before all; the others by worth for height."""
        number = unit[0].unit
        if number in self.overdue:
            return self.overdue.index(number), 0.0
        height = max(item.height_mm for item in unit) + 26
        worth = self.worth[number] / len(unit)
        return len(self.overdue), -worth / height**power * liking

    def total(self, state: Loads) -> float:
        units = {item.unit for item in items_in(state.loads[0])}
        return sum(self.worth[unit] for unit in sorted(units))

    def measure(self, state: Loads) -> float:
        """Less is better: the worth left out, in middling units; no overdue unit is given up."""
        inside = {item.unit for item in items_in(state.loads[0])}
        kept = tuple(unit in inside for unit in self.overdue)
        if kept < self._floor:
            return math.inf
        if kept > self._floor:
            self._floor = kept
            self._level += 1
        return -1e9 * self._level - sum(self.worth[unit] for unit in sorted(inside)) / self._mean

    @property
    def standing(self) -> tuple[tuple[bool, ...], float]:
        """How good the best load is, to be compared with that of another attempt."""
        inside = {item.unit for item in items_in(self.best.loads[0])}
        return tuple(unit in inside for unit in self.overdue), self.total(self.best)

    def advance(self, count: int) -> bool:
        """Some steps; True when a better load was found."""
        found = False
        best_cost = self.measure(self.best)
        for _ in range(count):
            state, cost = next(self.running)
            if cost < best_cost - 1e-9:
                self.best, best_cost, found = state.copy(), cost, True
        return found


def improve_load(
    space: KilnSpace,
    pieces: Sequence[QueuePiece],
    gap_mm: float,
    *,
    on: date,
    rule: LoadRule | None = None,
    held: Held | None = None,
    cone_pack_layers: int = 0,
    firing: tuple[str, str] | None = None,
    seed: int = 1,
) -> Iterator[LoadProgress]:
    """Loads for one firing `on` a day, each at least as good as the one before.

    `firing`: its stage and cone; needed only when the pieces are of more than one. `held`: what
    crew have decided. The first load comes at once; then one after every few steps, the same again
    while nothing better is found. Ends when no load can be better or nothing better was found for
    long. The same input, seed and count give the same load on any machine. Raises ValueError for
    input that cannot be, naming it.
    """
    rule, held = rule or LoadRule(), held or Held()
    check_pieces(list(pieces))
    kinds = {(piece.stage, piece.cone) for piece in pieces}
    if firing is None and len(kinds) > 1:
        raise ValueError(f"firing must say which of these stages and cones: {sorted(kinds)}")
    firing = firing or (min(kinds) if kinds else ("", ""))
    may = [piece for piece in pieces if _may_go(piece, on, firing, held)]

    def begun(attempt: int) -> _LoadSearch:
        ready = prepare(space, may, gap_mm, held=held, cone_pack_layers=cone_pack_layers)
        worths, overdue = _worths(space, ready, rule, on), _overdue(ready, rule, on)
        random = Random(f"load {seed} {attempt}")  # noqa: S311
        return _LoadSearch(ready, worths, overdue, random)

    best = search = begun(0)
    begun_at, attempts = 0, 1
    done, idle_since, better = 0, 0, True
    progress: LoadProgress | None = None
    bound = sum(_area(space, piece) for piece in may)
    while True:
        if better or progress is None:
            idle_since = done
            progress = _progress(best, pieces, on, firing, bound, rule)
        progress = replace(progress, steps=done)
        yield progress
        if done == 0 and not progress.is_best_possible:
            # Whole areas of pieces may each be rounded up by half a square millimetre.
            exact = load_area_bound_mm2(space, may, gap_mm)
            bound = min(bound, math.ceil(exact + len(may) / 2))
        if progress.is_best_possible or done - idle_since > PATIENCE_STEPS or not search.worth:
            return
        if done - begun_at >= ATTEMPT_STEPS and done - idle_since >= ATTEMPT_STEPS:
            search, begun_at, attempts = begun(attempts), done, attempts + 1
        found = search.advance(TURN_STEPS)
        better = done == 0 or (found and search is best) or search.standing > best.standing
        best = search if search.standing > best.standing else best
        done += TURN_STEPS


def _may_go(piece: QueuePiece, on: date, firing: tuple[str, str], held: Held) -> bool:
    """Dry, of the right cone and allowed; what crew have locked in goes whatever it is."""
    if piece.id in held.locked_ids:
        return True
    is_right = (piece.stage, piece.cone) == firing and piece.ready_on <= on
    return is_right and piece.id not in held.forbidden


def _area(space: KilnSpace, piece: QueuePiece) -> int:
    if piece.footprint is not None:
        return area_mm2(piece.footprint)
    largest = max(stack.shelf.area_mm2 for stack in space.stacks)
    return largest * piece.as_load_piece().quarters // 4


def _worths(space: KilnSpace, prepared: Prepared, rule: LoadRule, on: date) -> list[float]:
    worths = []
    for unit in prepared.units:
        rows = [prepared.pieces[item.id] for item in unit]
        worths.append(sum(rule.worth(piece, _area(space, piece), on) for piece in rows))
    return worths


def _overdue(prepared: Prepared, rule: LoadRule, on: date) -> tuple[int, ...]:
    """Units that have waited longer than the rule allows, the longest wait first."""
    waits = []
    for number, unit in enumerate(prepared.units):
        rows = [prepared.pieces[item.id] for item in unit]
        if any(rule.is_overdue_to_wait(piece, on) for piece in rows):
            first = min((piece.ready_on, piece.booked_order, piece.id) for piece in rows)
            waits.append((first, number))
    return tuple(number for _, number in sorted(waits))


def _progress(
    search: _LoadSearch,
    pieces: Sequence[QueuePiece],
    on: date,
    firing: tuple[str, str],
    bound: int,
    rule: LoadRule,
) -> LoadProgress:
    prepared, load = search.prepared, search.best.loads[0]
    inside = {item.id for item in items_in(load)} | prepared.held.locked_ids
    by_id: Mapping[str, QueuePiece] = {piece.id: piece for piece in pieces}
    left = [piece for piece in pieces if piece.id not in inside]
    area = sum(_area(prepared.space, by_id[piece_id]) for piece_id in sorted(inside))
    warnings = pack_warnings(missing_packs(load, prepared.make.packs_wanted))
    plan = LoadPlan(
        written_layers(prepared, load),
        why_left_out(prepared, left, on=on, firing=firing),
        warnings,
    )
    only_area = rule.waiting_weight_per_day == 0 and rule.due_weight == 0
    is_best = not search.best.bank or (only_area and not search.overdue and area >= bound)
    return LoadProgress(plan, area, search.total(search.best), bound, 0, is_best)


def pack_warnings(missing: int) -> tuple[str, ...]:
    """What to say to crew about cone packs without room."""
    if not missing:
        return ()
    packs = "1 cone pack" if missing == 1 else f"{missing} cone packs"
    return (f"There is no room for {packs}: take something out, or fire without and say why.",)
