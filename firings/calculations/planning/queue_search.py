"""The fewest firings that clear a queue, and with dates the fewest late pieces.

Ware of different stage or cone never shares a firing, so each kind is a search of its own
(`kind_search`), and the kinds take turns in proportion to their pieces. Without dates that is all:
the loads found are fired in the order in which they are dry and due.

With dates, the default way of working, the loads are given days (`schedule`) and the search goes
on with the days fixed: ruin and recreate in which an early load refuses what is not dry by then and
a late place costs something; then the days are given anew. The number of firings is given up only
when otherwise more pieces would be late than by hand.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from math import ceil
from random import Random

from firings.calculations.planning.kind_search import KindSearch
from firings.calculations.planning.preparing import prepare
from firings.calculations.planning.problem import (
    LoadRule,
    PlannedFiring,
    Queue,
    QueuePlan,
    QueueProgress,
)
from firings.calculations.planning.schedule import batch_of, late_count, schedule
from firings.calculations.planning.towers import Load, items_in
from firings.calculations.planning.written import written_layers

# Steps of one turn, over all kinds; a progress is handed out after each.
TURN_STEPS = 60
# Without a better plan in this many steps the search is out of ideas.
PATIENCE_STEPS = 150_000
# With dates: so many steps without dates first, then so many of each further turn with them.
STEPS_BEFORE_DATES = 3_000


@dataclass
class _QueueSearch:
    queue: Queue
    kinds: list[tuple[tuple[str, str], KindSearch]]

    @property
    def firings(self) -> int:
        return sum(search.count for _, search in self.kinds)

    @property
    def steps(self) -> int:
        return sum(search.steps for _, search in self.kinds)

    def loads(self) -> list[tuple[int, Load]]:
        return [
            (number, load)
            for number, (_, search) in enumerate(self.kinds)
            for load in search.best.loads
        ]

    def days(self) -> list[int]:
        batches = [batch_of(load) for _, load in self.loads()]
        return schedule(batches, self.queue.today.toordinal(), self.queue.days_between_firings)

    def late(self, days: list[int]) -> int:
        return late_count([batch_of(load) for _, load in self.loads()], days)

    def turn(self, steps: int) -> None:
        """Every kind tries to do with one load fewer, larger kinds for longer."""
        total = sum(len(search.prepared.items) for _, search in self.kinds)
        for _, search in self.kinds:
            search.advance(max(1, steps * len(search.prepared.items) // max(1, total)))

    def dated_turn(self, steps: int) -> None:
        """Every kind tries to have fewer pieces late, on the days its loads have now."""
        days = self.days()
        total = sum(len(search.prepared.items) for _, search in self.kinds)
        first = 0
        for _, search in self.kinds:
            own = days[first : first + search.count]
            first += search.count
            search.less_late(own, max(1, steps * len(search.prepared.items) // max(1, total)))

    def plan(self, days: list[int]) -> QueuePlan:
        dated = sorted(zip(days, self.loads(), strict=True), key=lambda row: row[0])
        firings = []
        for day, (number, load) in dated:
            (stage, cone), search = self.kinds[number]
            layers = written_layers(search.prepared, load)
            firings.append(PlannedFiring(date.fromordinal(day), stage, cone, layers))
        never = [piece_id for _, search in self.kinds for piece_id in search.never]
        planned = {piece_id for firing in firings for piece_id in firing.piece_ids}
        barred = [piece.id for piece in self.queue.pieces if piece.id not in planned]
        return QueuePlan(tuple(firings), tuple(sorted({*never, *barred})))

    def fill(self) -> float:
        """Footprints over the area of all shelves used."""
        used = shelves = 0
        for _, load in self.loads():
            for tower in load:
                for layer in tower.layers:
                    used += layer.area_mm2
                    shelves += tower.column.stack.shelf.area_mm2
        return used / shelves if shelves else 0.0


def improve_queue(
    queue: Queue, *, respect_dates: bool = True, rule: LoadRule | None = None, seed: int = 1
) -> Iterator[QueueProgress]:
    """Plans that clear the queue, each at least as good as the one before.

    The first comes at once; then one after every few steps, the same plan again while nothing
    better is found, so that a caller can stop at any time. Ends when the bound is met or nothing
    better was found for long. The same queue, seed and count give the same plan on any machine.
    `rule` weighs nothing here: every piece is fired, and dates count by pieces late.
    """
    search = _searches(queue, seed)
    bound = _bound(search)
    forced = _late_whatever_happens(queue)
    best: QueueProgress | None = None
    best_key: tuple[int, int] | None = None
    fewest = search.firings
    idle_since = 0
    while True:
        days = search.days()
        late = search.late(days)
        fewest = min(fewest, search.firings)
        key = (search.firings, late if respect_dates else 0)
        if best_key is None or key < best_key:
            is_best = search.firings <= bound and (not respect_dates or late <= forced)
            best_key, idle_since = key, search.steps
            best = QueueProgress(
                search.plan(days),
                search.firings,
                search.fill(),
                bound,
                search.steps,
                is_best,
                late,
                fewest,
            )
        assert best is not None, "the first round always sets it"
        best = replace(best, steps=search.steps)
        yield best
        if best.is_best_possible or search.steps - idle_since > PATIENCE_STEPS:
            return
        before = search.steps
        search.turn(TURN_STEPS)
        if respect_dates and late > forced and search.steps >= STEPS_BEFORE_DATES:
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
        kinds.append((kind, KindSearch(prepared, Random(f"{seed} {kind}"))))
    return _QueueSearch(queue, kinds)


def _late_whatever_happens(queue: Queue) -> int:
    """Pieces that are late even if each were fired on the first day that it can be."""
    return sum(
        piece.due_on is not None and piece.due_on < max(queue.today, piece.ready_on)
        for piece in queue.pieces
    )


def _bound(search: _QueueSearch) -> int:
    """No plan has fewer firings: footprints against all the shelves of a load, kind by kind."""
    total = 0
    for _, kind in search.kinds:
        shelves = sum(
            column.stack.shelf.area_mm2 * column.most_layers
            for column in kind.prepared.make.columns
        )
        ware = sum(item.shape.area_mm2 for load in kind.best.loads for item in items_in(load))
        total += max(min(1, kind.count), ceil(ware / shelves))
    return total
