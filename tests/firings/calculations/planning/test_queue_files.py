"""A queue is read whole or refused by name; a plan is written so that it can be read again."""

import copy
from collections.abc import Callable
from typing import Any

import pytest

from firings.calculations.footprints import Disc, Rectangle
from firings.calculations.load_plan import Placement, PlannedLayer
from firings.calculations.planning.problem import PlannedFiring, QueuePlan
from firings.calculations.planning.queue_files import plan_document, read_plan, read_queue
from tests.firings.calculations.planning.queues import TODAY, piece, queue_document

Document = dict[str, Any]


def test_a_queue_is_read_with_its_kiln_its_gaps_and_its_pieces() -> None:
    bowl = piece("p1", due_on="2026-03-20")
    tile = piece("p2", stage="bisque", cone="04", width_mm=150, depth_mm=100)
    queue = read_queue(queue_document(bowl, tile))
    assert queue.today == TODAY
    assert queue.gap_mm == {"glaze": 6, "bisque": 0}
    assert queue.space.stacks[0].shelves_count == 4
    assert queue.space.post_heights_mm == (13, 25, 38, 50, 75, 100, 150)
    assert [one.footprint for one in queue.pieces] == [Disc(120), Rectangle(150, 100)]
    assert str(queue.pieces[0].due_on) == "2026-03-20"
    assert queue.pieces[1].due_on is None


def test_half_shelves_are_read_with_their_side_and_cut() -> None:
    document = copy.deepcopy(queue_document(piece("p1", diameter_mm=80)))
    document["kiln"]["stacks"] = [
        {
            "name": side,
            "shelf": {"shape": "half round", "diameter_mm": 400, "side": side, "cut_at_mm": cut},
            "shelves": 3,
            "posts_at_mm": [],
        }
        for side, cut in (("left", -3), ("right", 3))
    ]
    left, right = read_queue(document).space.stacks
    assert (left.shelf.side, left.shelf.cut_at_mm) == ("left", -3)
    assert (right.shelf.side, right.shelf.cut_at_mm) == ("right", 3)


def spoil(document: Document, *path: Any, value: Any) -> None:
    for step in path[:-1]:
        document = document[step]
    if value is None:
        del document[path[-1]]
    else:
        document[path[-1]] = value


WRONG: list[tuple[tuple[Any, ...], Any, str]] = [
    (("today",), "2 March", r"today must be a day such as 2026-03-02, got '2 March'"),
    (("kiln",), None, "kiln is missing"),
    (("kiln", "chamber", "shape"), "egg", "shape must be one of round, octagon, rectangle"),
    (("kiln", "posts", "heights_mm"), [13, "25"], "heights_mm must be whole numbers, got '25'"),
    (("kiln", "stacks", 0, "posts_at_mm"), [[1]], "posts_at_mm must be two numbers"),
    (("kiln", "keep_from_wall_mm"), "far", "keep_from_wall_mm must be a number, got 'far'"),
    (("gaps", "glaze_mm"), -1, r"gap_mm\['glaze'\] must lie between 0 and 200"),
    (("pieces",), {}, "pieces must be a list"),
    (("pieces", 0), "p1", r"piece 1 \(without id\): a piece must be an object"),
    (("pieces", 0, "height_mm"), 0, r"piece 1 \(p1\): height_mm must lie between 1 and 2000"),
    (("pieces", 0, "diameter_mm"), None, r"piece 1 \(p1\): give either diameter_mm, or width_mm"),
    (("pieces", 0, "stage"), "raku", r"piece 1 \(p1\): stage must be one of bisque, glaze"),
    (("pieces", 0, "ready_on"), 5, r"piece 1 \(p1\): ready_on must be a text, got 5"),
    (("pieces", 1, "id"), "p1", "pieces must have different ids, got 'p1' twice"),
    (("days_between_firings",), 0, "days_between_firings must be 1 or more"),
]


@pytest.mark.parametrize(("path", "value", "message"), WRONG)
def test_a_queue_that_cannot_be_read_says_where(
    path: tuple[Any, ...], value: Any, message: str
) -> None:
    document = copy.deepcopy(queue_document(piece("p1"), piece("p2")))
    spoil(document, *path, value=value)
    with pytest.raises(ValueError, match=message):
        read_queue(document)


def test_a_plan_is_read_as_it_was_written() -> None:
    queue = read_queue(queue_document(piece("p1"), piece("p2"), piece("p3")))
    low = PlannedLayer("whole", 1, (13,), 13, (Placement("p1", 1.5, -2.25, 0),))
    high = PlannedLayer("whole", 2, (50, 25), 104, (Placement("p2", 0.0, 0.0, 37.5),))
    plan = QueuePlan((PlannedFiring(TODAY, "glaze", "6", (low, high)),), ("p3",))
    assert read_plan(queue, plan_document(queue, plan)) == plan


def no_such_tower(document: Document) -> None:
    document["firings"][0]["layers"][0]["stack"] = "loft"


def no_number(document: Document) -> None:
    document["firings"][0]["layers"][0]["pieces"][0]["x_mm"] = "left"


@pytest.mark.parametrize(
    ("spoiled", "message"),
    [(no_such_tower, "stack must be one of whole, got 'loft'"), (no_number, "x_mm must be a")],
)
def test_a_plan_that_cannot_be_read_says_where(
    spoiled: Callable[[Document], None], message: str
) -> None:
    queue = read_queue(queue_document(piece("p1")))
    layer = PlannedLayer("whole", 1, (13,), 13, (Placement("p1", 0.0, 0.0, 0),))
    document = plan_document(queue, QueuePlan((PlannedFiring(TODAY, "glaze", "6", (layer,)),)))
    spoiled(document)
    with pytest.raises(ValueError, match=message):
        read_plan(queue, document)
