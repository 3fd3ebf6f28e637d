"""Whether a plan for a whole queue can be carried out exactly as written.

Written apart from the planner: the geometry is that of `plan_check`, the days and the counting are
here. What the planner believes is never asked.
"""

from collections import Counter, defaultdict
from collections.abc import Iterator
from datetime import timedelta
from itertools import pairwise

from firings.calculations.load_plan import LoadPlan
from firings.calculations.plan_check import check_load
from firings.calculations.planning.problem import PlannedFiring, Queue, QueuePiece, QueuePlan


def check_queue_plan(queue: Queue, plan: QueuePlan) -> tuple[str, ...]:
    """Every reason why a plan cannot be carried out, one sentence each; empty when it can."""
    return tuple(_faults(queue, plan))


def _faults(queue: Queue, plan: QueuePlan) -> Iterator[str]:
    pieces = {piece.id: piece for piece in queue.pieces}
    yield from _day_faults(queue, plan)
    yield from _counting_faults(pieces, plan)
    for number, firing in enumerate(plan.firings, start=1):
        where = f"Firing {number}"
        mine = [pieces[piece_id] for piece_id in firing.piece_ids if piece_id in pieces]
        for piece in mine:
            yield from (f"{where}: {fault}" for fault in _entry_faults(piece, firing))
        gap_mm = queue.gap_mm[firing.stage]
        asked = [piece.as_load_piece() for piece in mine]
        for fault in check_load(queue.space, asked, LoadPlan(firing.layers, ()), gap_mm):
            yield f"{where}: {fault}"


def _day_faults(queue: Queue, plan: QueuePlan) -> Iterator[str]:
    days = [firing.fire_on for firing in plan.firings]
    if days and days[0] < queue.today:
        yield f"Firing 1 is on {days[0]}, before the first day, {queue.today}."
    least = timedelta(days=queue.days_between_firings)
    for number, (before, after) in enumerate(pairwise(days), start=2):
        if after - before < least:
            yield (
                f"Firing {number} is on {after}, less than {queue.days_between_firings} days "
                f"after {before}."
            )


def _counting_faults(pieces: dict[str, QueuePiece], plan: QueuePlan) -> Iterator[str]:
    """Pieces that are unknown, fired twice or forgotten, and groups torn apart."""
    fired_in = Counter(piece_id for firing in plan.firings for piece_id in firing.piece_ids)
    counted = fired_in + Counter(plan.waiting)
    for piece_id, count in counted.items():
        if piece_id not in pieces:
            yield f"{piece_id} is in the plan but not in the queue."
        elif count > 1:
            yield f"{piece_id} is in the plan {count} times."
    for piece_id in pieces:
        if piece_id not in counted:
            yield f"{piece_id} is neither fired nor left waiting."
    homes: dict[str, set[int | None]] = defaultdict(set)
    number_of = {i: n for n, firing in enumerate(plan.firings, 1) for i in firing.piece_ids}
    for piece in pieces.values():
        if piece.group:
            homes[piece.group].add(number_of.get(piece.id))
    for group, numbers in homes.items():
        if len(numbers) > 1:
            yield f"The pieces of {group} are not fired together."


def _entry_faults(piece: QueuePiece, firing: PlannedFiring) -> Iterator[str]:
    if (piece.stage, piece.cone) != (firing.stage, firing.cone):
        yield (
            f"{piece.id} is {piece.stage} cone {piece.cone}, "
            f"the firing is {firing.stage} cone {firing.cone}."
        )
    if piece.ready_on > firing.fire_on:
        yield f"{piece.id} is not dry before {piece.ready_on}."
