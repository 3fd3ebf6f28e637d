"""A plan for a queue that can be carried out has no faults; spoiled, it has the one that shows."""

from dataclasses import replace
from datetime import timedelta

import pytest

from firings.calculations.load_plan import Placement, PlannedLayer
from firings.calculations.planning.problem import PlannedFiring, Queue, QueuePlan
from firings.calculations.planning.queue_files import read_queue
from firings.calculations.queue_plan_check import check_queue_plan
from tests.firings.calculations.planning.queues import TODAY, piece, queue_document


@pytest.fixture
def queue() -> Queue:
    late = piece("p3", ready_on="2026-03-05")
    return read_queue(queue_document(piece("p1"), piece("p2"), late))


def layer(*placements: Placement) -> PlannedLayer:
    return PlannedLayer("whole", 1, (13,), 13, placements)


def firing(days: int, *placements: Placement, cone: str = "6") -> PlannedFiring:
    return PlannedFiring(TODAY + timedelta(days=days), "glaze", cone, (layer(*placements),))


P1, P2, P3 = Placement("p1", -70, 0), Placement("p2", 70, 0), Placement("p3", 0, 0)
GOOD = QueuePlan((firing(0, P1, P2), firing(3, P3)))


def test_a_plan_that_can_be_carried_out_has_no_faults(queue: Queue) -> None:
    assert check_queue_plan(queue, GOOD) == ()


@pytest.mark.parametrize(
    ("plan", "fault"),
    [
        (
            QueuePlan((firing(-1, P1, P2), firing(3, P3))),
            "Firing 1 is on 2026-03-01, before the first day, 2026-03-02.",
        ),
        (
            QueuePlan((firing(1, P1, P2), firing(3, P3))),
            "Firing 2 is on 2026-03-05, less than 3 days after 2026-03-03.",
        ),
        (QueuePlan((firing(0, P1, P2),)), "p3 is neither fired nor left waiting."),
        (QueuePlan((firing(0, P1, P2), firing(3, P3, P1))), "p1 is in the plan 2 times."),
        (QueuePlan(GOOD.firings, ("p9",)), "p9 is in the plan but not in the queue."),
        (
            QueuePlan((firing(0, P1, P2, P3),)),
            "Firing 1: p3 is not dry before 2026-03-05.",
        ),
        (
            QueuePlan((firing(0, P1, P2, cone="10"), firing(3, P3))),
            "Firing 1: p1 is glaze cone 6, the firing is glaze cone 10.",
        ),
        (
            QueuePlan((firing(0, P1, replace(P2, x_mm=55)), firing(3, P3))),
            "Firing 1: p1 and p2 on layer 1 are 5.00 mm apart; 6 mm are needed.",
        ),
    ],
)
def test_a_plan_that_cannot_be_carried_out_says_why(
    queue: Queue, plan: QueuePlan, fault: str
) -> None:
    assert fault in check_queue_plan(queue, plan)


def test_the_pieces_of_one_slip_are_fired_together(queue: Queue) -> None:
    slip = replace(queue, pieces=tuple(replace(p, group="K4M7") for p in queue.pieces))
    assert "The pieces of K4M7 are not fired together." in check_queue_plan(slip, GOOD)
