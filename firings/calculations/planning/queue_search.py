"""The fewest firings that clear a queue, and with dates the fewest late pieces.

Ware of different stage or cone never shares a firing, so each kind is a search of its own
(`kind_search`), and the kinds take turns in proportion to their pieces. Without dates that is all:
the loads found are fired in the order in which they are dry and due.

With dates, the default way of working, the loads are given days (`schedule`) and the search goes
on with the days fixed: ruin and recreate in which an early load refuses what is not dry by then and
a late place costs something; then the days are given anew. The queue loaded by its dates, as by
hand (`by_dates`), says how many pieces may be late. As long as the fewest firings make more late,
a plan with more firings is shown, and brought down load by load (`dated_search`).
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from random import Random

from firings.calculations.planning.bounds import firings_bound
from firings.calculations.planning.by_dates import as_states, loads_by_dates
from firings.calculations.planning.dated_search import DatedSearch, Timetable, scheduled
from firings.calculations.planning.kind_search import KindSearch
from firings.calculations.planning.preparing import prepare
from firings.calculations.planning.problem import (
    LoadRule,
    PlannedFiring,
    Queue,
    QueuePlan,
    QueueProgress,
)
from firings.calculations.planning.towers import items_in
from firings.calculations.planning.written import written_layers

# Steps of one turn, over all kinds; a progress is handed out after each.
TURN_STEPS = 60
# Without a better plan in this many steps the search is out of ideas.
PATIENCE_STEPS = 150_000
# With dates: so many steps without dates first, then so many of each further turn with them.
STEPS_BEFORE_DATES = 3_000


@dataclass
class _QueueSearch:
    """The search of each kind, and with dates the one that keeps to them (`dated`)."""

    queue: Queue
    kinds: list[tuple[tuple[str, str], KindSearch]]
    dated: DatedSearch | None = None

    @property
    def firings(self) -> int:
        return sum(search.count for _, search in self.kinds)

    @property
    def steps(self) -> int:
        own = sum(search.steps for _, search in self.kinds)
        return own + (self.dated.steps if self.dated else 0)

    @property
    def between(self) -> int:
        return self.queue.days_between_firings

    @property
    def today(self) -> int:
        return self.queue.today.toordinal()

    def fewest(self) -> Timetable:
        """The fewest firings found, on the days on which fewest pieces are late."""
        return scheduled([search.best for _, search in self.kinds], self.today, self.between)

    def keep_to_dates(self, seed: int) -> None:
        """Load the queue by its dates, as it is done by hand: no more may be late than then."""
        fired = loads_by_dates(
            [search.prepared for _, search in self.kinds],
            [frozenset(search.never) for _, search in self.kinds],
            self.today,
            self.between,
        )
        days = tuple(day for loads in fired for day, _ in loads)
        table = Timetable(tuple(as_states(fired)), days)
        searches = [search for _, search in self.kinds]
        random = Random(f"{seed} dates")  # noqa: S311
        self.dated = DatedSearch(searches, table, table.late, self.today, self.between, random)

    def best(self) -> Timetable:
        """The plan to show: the fewest firings, or with dates those that they allow."""
        fewest = self.fewest()
        if self.dated is None:
            return fewest
        own = self.dated.best
        is_allowed = fewest.late <= self.dated.most_late
        if is_allowed and (fewest.firings, fewest.late) <= (own.firings, own.late):
            return fewest
        return own

    def find_bounds(self) -> int:
        """The fewest firings there can be, kind by kind; pieces that never go in are left out."""
        for (stage, _), search in self.kinds:
            prepared = search.prepared
            pieces = [
                prepared.pieces[item.id] for load in search.best.loads for item in items_in(load)
            ]
            search.bound = firings_bound(prepared.space, pieces, {stage: prepared.gap_mm})
        return sum(search.bound for _, search in self.kinds)

    def turn(self, steps: int) -> None:
        """Every kind tries to do with one load fewer, larger kinds for longer."""
        total = sum(
            len(search.prepared.items) for _, search in self.kinds if search.count > search.bound
        )
        for _, search in self.kinds:
            if search.count > search.bound:
                search.advance(max(1, steps * len(search.prepared.items) // max(1, total)))

    def dated_turn(self, steps: int) -> None:
        """Every kind tries to have fewer pieces late, on the days its loads have now."""
        table = self.fewest()
        total = sum(len(search.prepared.items) for _, search in self.kinds)
        for number, (_, search) in enumerate(self.kinds):
            share = steps * len(search.prepared.items) // max(1, total)
            search.less_late(table.days_of(number), max(1, share))
        if self.dated is None:
            return
        if self.fewest().late > self.dated.most_late and self.dated.best.firings > self.firings:
            self.dated.turn(steps)

    def plan(self, table: Timetable) -> QueuePlan:
        firings = []
        for number, ((stage, cone), search) in enumerate(self.kinds):
            days, loads = table.days_of(number), table.states[number].loads
            for day, load in zip(days, loads, strict=True):
                layers = written_layers(search.prepared, load)
                firings.append(PlannedFiring(date.fromordinal(day), stage, cone, layers))
        firings.sort(key=lambda firing: firing.fire_on)
        never = [piece_id for _, search in self.kinds for piece_id in search.never]
        planned = {piece_id for firing in firings for piece_id in firing.piece_ids}
        barred = [piece.id for piece in self.queue.pieces if piece.id not in planned]
        return QueuePlan(tuple(firings), tuple(sorted({*never, *barred})))


def _fill(table: Timetable) -> float:
    """Footprints over the area of all shelves used."""
    layers = [
        (layer.area_mm2, tower.column.stack.shelf.area_mm2)
        for state in table.states
        for load in state.loads
        for tower in load
        for layer in tower.layers
    ]
    shelves = sum(shelf for _, shelf in layers)
    return sum(used for used, _ in layers) / shelves if shelves else 0.0


def improve_queue(
    queue: Queue, *, respect_dates: bool = True, rule: LoadRule | None = None, seed: int = 1
) -> Iterator[QueueProgress]:
    """Plans that clear the queue, each at least as good as the one before.

    The first comes at once; then one after every few steps, the same plan again while nothing
    better is found, so that a caller can stop at any time. Ends when the bound is met or nothing
    better was found for long. The same queue, seed and count give the same plan on any machine.
    With `respect_dates` no plan has more pieces late than the queue loaded by its dates, as by
    hand. `rule` weighs nothing here: every piece is fired, and dates count by pieces late.
    """
    search = _searches(queue, seed)
    if respect_dates:
        search.keep_to_dates(seed)
    bound, is_bound_known = len(search.kinds), False
    forced = _late_whatever_happens(queue)
    best: QueueProgress | None = None
    idle_since = 0
    while True:
        table = search.best()
        late = table.late
        key = (table.firings, late if respect_dates else 0)
        if best is None or key < (best.firings, best.late if respect_dates else 0):
            idle_since = search.steps
            best = QueueProgress(
                search.plan(table), table.firings, _fill(table), bound, 0, False, late
            )
        is_best = best.firings <= bound and (not respect_dates or best.late <= forced)
        fewest = min(best.firings, search.firings)
        best = replace(
            best,
            bound=bound,
            steps=search.steps,
            is_best_possible=is_best,
            firings_without_dates=fewest,
        )
        yield best
        if is_best or search.steps - idle_since > PATIENCE_STEPS:
            return
        if not is_bound_known:
            # Not before the first plan is out: it takes longer than that.
            bound, is_bound_known = search.find_bounds(), True
            continue
        before = search.steps
        search.turn(TURN_STEPS)
        is_soon = search.steps < STEPS_BEFORE_DATES and search.firings > bound
        could_be_better = best.late > forced or best.firings > search.firings
        if respect_dates and could_be_better and not is_soon:
            search.dated_turn(2 * TURN_STEPS)
        if search.steps == before:
            return


def _searches(queue: Queue, seed: int) -> _QueueSearch:
    kinds = []
    for kind in sorted({(piece.stage, piece.cone) for piece in queue.pieces}):
        pieces = [piece for piece in queue.pieces if (piece.stage, piece.cone) == kind]
        prepared = prepare(
            queue.space, pieces, queue.gap_mm[kind[0]], cone_pack_layers=queue.cone_pack_layers
        )
        random = Random(f"{seed} {kind}")  # noqa: S311
        kinds.append((kind, KindSearch(prepared, random)))
    return _QueueSearch(queue, kinds)


def _late_whatever_happens(queue: Queue) -> int:
    """Pieces that are late even if each were fired on the first day that it can be."""
    return sum(
        piece.due_on is not None and piece.due_on < max(queue.today, piece.ready_on)
        for piece in queue.pieces
    )
