"""On which day each load of a queue is fired, so that as few pieces as possible are late.

A load is ready when the last of its pieces is dry. On each day on which the kiln is free the first
load of the order that is ready is fired; the kiln stands idle only while no load is ready. The
order is found by putting the earliest due first and then moving single loads for as long as that
makes fewer pieces late (or, with as many late, lets ware wait less): a plain local search, quick
because a queue has some dozens of loads at most.
"""

from bisect import bisect_left
from collections.abc import Sequence
from dataclasses import dataclass

from firings.calculations.planning.towers import Load, items_in

# Moving loads about is worth this many rounds; each looks at every load in every place.
ROUNDS = 4


@dataclass(frozen=True, slots=True)
class Batch:
    """One load as the schedule sees it; days as ordinals, `dues` in order, `ready_sum` for waits."""

    ready: int
    dues: tuple[int, ...]
    count: int

    def late_on(self, day: int) -> int:
        return bisect_left(self.dues, day)


def batch_of(load: Load) -> Batch:
    items = items_in(load)
    return Batch(
        max((item.ready for item in items), default=0),
        tuple(sorted(item.due for item in items if item.due is not None)),
        len(items),
    )


def days_of(batches: Sequence[Batch], order: Sequence[int], today: int, between: int) -> list[int]:
    """The day of each batch, fired in this order as far as they are ready."""
    days = [0] * len(batches)
    waiting = list(order)
    day = today
    while waiting:
        chosen = next((index for index in waiting if batches[index].ready <= day), None)
        if chosen is None:
            day = min(batches[index].ready for index in waiting)
            continue
        days[chosen] = day
        waiting.remove(chosen)
        day += between
    return days


def late_count(batches: Sequence[Batch], days: Sequence[int]) -> int:
    return sum(batch.late_on(day) for batch, day in zip(batches, days, strict=True))


def schedule(batches: Sequence[Batch], today: int, between: int) -> list[int]:
    """The day of each batch."""
    far = 10**7

    def cost(order: Sequence[int]) -> tuple[int, int]:
        days = days_of(batches, order, today, between)
        waits = sum(batch.count * day for batch, day in zip(batches, days, strict=True))
        return late_count(batches, days), waits

    order = sorted(
        range(len(batches)),
        key=lambda i: (batches[i].dues[0] if batches[i].dues else far, batches[i].ready, i),
    )
    best = cost(order)
    for _ in range(ROUNDS):
        before = best
        for index in range(len(batches)):
            rest = [other for other in order if other != index]
            for place in range(len(batches)):
                trial = [*rest[:place], index, *rest[place:]]
                found = cost(trial)
                if found < best:
                    order, best = trial, found
        if best == before:
            break
    return days_of(batches, order, today, between)
