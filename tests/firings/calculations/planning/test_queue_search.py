"""Whole queues: every plan is carried out on paper by a check of its own."""

from dataclasses import replace
from datetime import timedelta
from itertools import islice

from hypothesis import given, settings
from hypothesis import strategies as st

from firings.calculations.footprints import Disc
from firings.calculations.planning.preparing import never_goes_in
from firings.calculations.planning.problem import QueuePiece
from firings.calculations.planning.queue_search import improve_queue
from firings.calculations.planning.schedule import Batch, schedule
from firings.calculations.queue_plan_check import check_queue_plan
from tests.firings.calculations.planning.kilns import KILNS, ROUND, TODAY, mixed_ware, queue_of


def two_kinds(count, seed):
    glaze = mixed_ware(count, seed)
    bisque = [replace(p, id=f"b{p.id}") for p in mixed_ware(count // 2, seed + 1, "bisque")]
    return glaze + bisque


@settings(max_examples=4, deadline=None)
@given(st.sampled_from(sorted(KILNS)), st.integers(0, 10**6), st.booleans(), st.integers(0, 1))
def test_every_plan_clears_the_queue_and_can_be_carried_out(kiln, seed, respect_dates, packs):
    queue = queue_of(KILNS[kiln], two_kinds(16, seed), packs)
    pieces, last = {piece.id: piece for piece in queue.pieces}, None
    for progress in islice(improve_queue(queue, respect_dates=respect_dates, seed=seed), 4):
        assert check_queue_plan(queue, progress.plan) == ()
        assert all(never_goes_in(queue.space, pieces[i]) for i in progress.plan.waiting)
        assert progress.firings == len(progress.plan.firings) >= progress.bound
        assert last is None or progress.firings <= last.firings
        last = progress


def test_the_same_seed_gives_the_same_plans():
    queue = queue_of(ROUND, two_kinds(24, 3))
    runs = [list(islice(improve_queue(queue, seed=5), 6)) for _ in range(2)]
    assert runs[0] == runs[1]


def test_groups_stay_together_in_a_queue():
    pieces = [replace(p, group=f"slip {n // 3}") for n, p in enumerate(mixed_ware(30, 9))]
    plan = list(islice(improve_queue(queue_of(ROUND, pieces)), 5))[-1].plan
    fired_in = {i: number for number, firing in enumerate(plan.firings) for i in firing.piece_ids}
    groups = {}
    for piece in pieces:
        groups.setdefault(piece.group, set()).add(fired_in[piece.id])
    assert len(plan.firings) > 1
    assert all(len(firings) == 1 for firings in groups.values())


def test_a_piece_that_no_kiln_takes_waits_and_the_rest_is_fired():
    pieces = [*mixed_ware(6, 2), QueuePiece("door", "m", "glaze", "6", Disc(900), 60, TODAY)]
    progress = next(improve_queue(queue_of(ROUND, pieces)))
    assert progress.plan.waiting == ("door",)
    assert len(progress.plan.firings) >= 1


def test_pieces_due_first_are_fired_first():
    """Two loads of plates, one due at once: with dates it is the first and nothing is late."""
    plates = [
        QueuePiece(
            f"plate{n}",
            "m",
            "glaze",
            "6",
            Disc(300),
            30,
            TODAY,
            TODAY + timedelta(days=1) if n % 2 else None,
        )
        for n in range(8)
    ]
    progress = list(islice(improve_queue(queue_of(ROUND, plates), respect_dates=True), 80))[-1]
    assert progress.firings == 2
    assert progress.late == 0


def test_the_kiln_stands_idle_only_while_no_load_is_ready():
    first, later = TODAY.toordinal(), TODAY.toordinal() + 30
    batches = [Batch(later, (), 3), Batch(first, (), 3), Batch(first, (first + 3,), 3)]
    assert schedule(batches, first, 3) in (
        [later, first + 3, first],
        [later, first, first + 3],
    )


def test_an_empty_queue_needs_no_firing():
    progress = next(improve_queue(queue_of(ROUND, [])))
    assert (progress.firings, progress.plan.firings) == (0, ())
