import json
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any, TypeVar

from django.core.management.base import BaseCommand, CommandError, CommandParser

from firings.calculations.planning.bounds import firings_bound
from firings.calculations.planning.next_load import improve_next_load
from firings.calculations.planning.problem import AREA_ONLY, LoadRule, Queue, QueuePlan
from firings.calculations.planning.queue_files import plan_document, read_queue
from firings.calculations.planning.queue_search import improve_queue
from firings.calculations.queue_plan_check import check_queue_plan

Answer = TypeVar("Answer")
# Long enough for the queues of most studios; a larger one is searched for longer.
SECONDS, LARGE_SECONDS, LARGE_FROM = 9.0, 27.0, 120


class Command(BaseCommand):
    help = (
        "Plans the firings that clear a queue, or the next load only, and writes the plan. "
        "Queue and plan are JSON files; the plan is checked before it is written."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("queue", type=Path, help="the queue, a JSON file")
        parser.add_argument("--out", type=Path, required=True, help="the plan to write")
        parser.add_argument("--one-load", action="store_true", help="the next load only")
        parser.add_argument("--seconds", type=float, help="how long to look for better plans")
        parser.add_argument("--seed", type=int, default=1, help="another seed, another search")
        parser.add_argument(
            "--fair",
            action="store_true",
            help="of one load: weigh how long ware has waited and when it is due, not area alone",
        )
        parser.add_argument(
            "--ignore-due-dates", action="store_true", help="the fewest firings, however late"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        began_s = time.monotonic()
        queue = _queue_in(options["queue"])
        usual = LARGE_SECONDS if len(queue.pieces) >= LARGE_FROM else SECONDS
        seconds = usual if options["seconds"] is None else options["seconds"]
        if seconds <= 0:
            raise CommandError("--seconds must be above 0.")
        if options["one_load"]:
            plan, told = _one_load(queue, began_s + seconds, options)
        else:
            plan, told = _whole_queue(queue, began_s + seconds, options)
        faults = check_queue_plan(queue, plan)
        if faults:
            raise CommandError(f"The plan cannot be carried out, so it is not written: {faults[0]}")
        _write(options["out"], plan_document(queue, plan))
        self.stdout.write(f"{told} {time.monotonic() - began_s:.1f} s.")


def _one_load(queue: Queue, until_s: float, options: dict[str, Any]) -> tuple[QueuePlan, str]:
    rule = LoadRule() if options["fair"] else AREA_ONLY
    best = _last_of(improve_next_load(queue, rule=rule, seed=options["seed"]), until_s)
    if best is None:
        raise CommandError(f"Nothing in {queue.name} is dry on {queue.today}.")
    plan = best.as_plan(queue)
    kind = f"{best.firing.stage} cone {best.firing.cone}"
    return plan, (
        f"{queue.name}: next load {kind}, {len(best.firing.piece_ids)} pieces, "
        f"{best.area_mm2 / 100:,.0f} cm2 of footprint; no load can hold more than "
        f"{best.bound_mm2 / 100:,.0f} cm2. {best.steps} steps,"
    )


def _whole_queue(queue: Queue, until_s: float, options: dict[str, Any]) -> tuple[QueuePlan, str]:
    search = improve_queue(
        queue, respect_dates=not options["ignore_due_dates"], seed=options["seed"]
    )
    best = _last_of(search, until_s)
    if best is None:
        raise CommandError(f"No piece of {queue.name} fits this kiln.")
    bound = max(best.bound, firings_bound(queue.space, _fired(queue, best.plan), queue.gap_mm))
    told = (
        f"{queue.name}: {best.firings} firings, fill {best.fill:.1%}, {best.late} pieces late; "
        f"no plan has fewer than {bound} firings."
    )
    if best.firings_without_dates is not None and best.firings_without_dates < best.firings:
        told += f" Without due dates {best.firings_without_dates} would do."
    if best.plan.waiting:
        told += f" {len(best.plan.waiting)} pieces fit nowhere: {', '.join(best.plan.waiting[:8])}."
    return best.plan, f"{told} {best.steps} steps,"


def _fired(queue: Queue, plan: QueuePlan) -> list[Any]:
    waiting = set(plan.waiting)
    return [piece for piece in queue.pieces if piece.id not in waiting]


def _last_of(search: Iterator[Answer], until_s: float) -> Answer | None:
    """The best answer until the time is over; the first one comes whatever the time."""
    best = None
    for answer in search:
        best = answer
        if time.monotonic() >= until_s:
            break
    return best


def _queue_in(path: Path) -> Queue:
    try:
        document = json.loads(path.read_text(encoding="utf-8"))
    except OSError as fault:
        raise CommandError(f"{path} cannot be read: {fault.strerror}.") from fault
    except ValueError as fault:
        raise CommandError(f"{path} is no JSON: {fault}.") from fault
    try:
        queue = read_queue(document)
    except ValueError as fault:
        raise CommandError(f"{path}: {fault}.") from fault
    if not queue.pieces:
        raise CommandError(f"{queue.name} holds no pieces.")
    return queue


def _write(path: Path, document: dict[str, Any]) -> None:
    """The whole plan or none: an older file stays until the new one is complete."""
    draft = path.with_name(f".{path.name}.unfinished")
    try:
        draft.write_text(json.dumps(document, indent=1) + "\n", encoding="utf-8")
        draft.rename(path)
    except OSError as fault:
        raise CommandError(f"{path} cannot be written: {fault.strerror}.") from fault
    finally:
        draft.unlink(missing_ok=True)
