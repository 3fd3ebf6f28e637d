"""Crew plan a queue from a file, and get a plan that another program can check."""

import json
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from django.core.management import CommandError, call_command

from firings.calculations.planning.queue_files import read_plan, read_queue
from firings.calculations.queue_plan_check import check_queue_plan
from tests.firings.calculations.planning.queues import piece, queue_document


def write(folder: Path, document: Any) -> Path:
    path = folder / "queue.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document))
    return path


def run(path: Path, out: Path, **options: Any) -> str:
    told = StringIO()
    call_command("plan_load", path, out=out, seconds=0.5, stdout=told, **options)
    return told.getvalue()


SOME = queue_document(
    *(piece(f"b{number}", diameter_mm=130) for number in range(9)),
    *(piece(f"t{number}", stage="bisque", cone="04", width_mm=150, depth_mm=150)
      for number in range(4)),
    piece("late", ready_on="2026-03-09"),
)  # fmt: skip


def test_every_piece_is_fired_by_a_plan_that_can_be_carried_out(tmp_path: Path) -> None:
    out = tmp_path / "plan.json"
    told = run(write(tmp_path, SOME), out)
    queue = read_queue(SOME)
    plan = read_plan(queue, json.loads(out.read_text()))
    assert check_queue_plan(queue, plan) == ()
    assert plan.waiting == ()
    assert f"{len(plan.firings)} firings" in told
    assert "no plan has fewer than" in told


def test_one_load_takes_one_stage_and_leaves_the_rest_waiting(tmp_path: Path) -> None:
    out = tmp_path / "plan.json"
    told = run(write(tmp_path, SOME), out, one_load=True)
    queue = read_queue(SOME)
    plan = read_plan(queue, json.loads(out.read_text()))
    assert check_queue_plan(queue, plan) == ()
    [firing] = plan.firings
    assert (firing.stage, firing.fire_on) == ("glaze", queue.today)
    assert "late" in plan.waiting
    assert "next load glaze cone 6" in told


@pytest.mark.parametrize(
    ("document", "why"),
    [
        ("rubbish", "is no JSON"),
        ({**SOME, "kiln": {}}, "chamber is missing"),
        (queue_document(), "holds no pieces"),
    ],
)
def test_a_queue_that_cannot_be_planned_says_why_and_writes_nothing(
    tmp_path: Path, document: Any, why: str
) -> None:
    with pytest.raises(CommandError, match=why):
        run(write(tmp_path, document), tmp_path / "plan.json")
    assert not (tmp_path / "plan.json").exists()


def test_one_load_of_a_queue_that_is_all_wet_is_refused(tmp_path: Path) -> None:
    wet = queue_document(piece("p1", ready_on="2026-04-01"))
    with pytest.raises(CommandError, match="Nothing in invented is dry"):
        run(write(tmp_path, wet), tmp_path / "plan.json", one_load=True)


def test_files_that_cannot_be_read_or_written_are_told(tmp_path: Path) -> None:
    with pytest.raises(CommandError, match="cannot be read"):
        run(tmp_path / "nothing.json", tmp_path / "plan.json")
    with pytest.raises(CommandError, match="cannot be written"):
        run(write(tmp_path, SOME), tmp_path / "no" / "plan.json")
