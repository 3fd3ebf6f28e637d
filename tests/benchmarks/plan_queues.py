"""How many firings clear a queue, how full a load gets, how near the bound, and how soon.

    python -m tests.benchmarks.plan_queues [FOLDER OR QUEUE.json ...] [--seconds N] [--seed N]

Without names it plans queues of invented studios. For each queue one run prints the planner beside
three yardsticks: by hand (tallest first, shelf by shelf, first place that fits), maximal rectangles
on bounding boxes, and the bound of areas alone; then what the due dates cost, the next load, and
the quality over time. Every plan is checked before it counts. Seconds are of a whole processor;
several planners on one machine make them longer.
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from firings.calculations.planning.bounds import firings_bound
from firings.calculations.planning.next_load import improve_next_load
from firings.calculations.planning.problem import Queue, QueuePlan
from firings.calculations.planning.queue_files import read_queue
from firings.calculations.planning.queue_search import improve_queue
from firings.calculations.queue_plan_check import check_queue_plan
from tests.benchmarks.invented_queues import invented_queues
from tests.benchmarks.yardsticks import (
    fill_of,
    first_place,
    in_rectangles,
    late_pieces,
    plan_by,
    plan_without_dates,
)

LARGE_FROM = 120
CURVE_S = (0.5, 1, 2, 3, 5, 10, 15, 20, 30)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("queues", nargs="*", type=Path)
    parser.add_argument("--seconds", type=float, help="else 10, and 30 from 120 pieces on")
    parser.add_argument("--seed", type=int, default=1)
    arguments = parser.parse_args()
    for document in _documents(arguments.queues):
        _measure(read_queue(document), arguments)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(f"\nmost memory: {peak_mb:.0f} MB")


def _documents(paths: list[Path]) -> Iterator[dict[str, Any]]:
    if not paths:
        yield from invented_queues()
    for path in paths:
        for file in sorted(path.glob("*.json")) if path.is_dir() else [path]:
            yield json.loads(file.read_text(encoding="utf-8"))


def _measure(queue: Queue, arguments: argparse.Namespace) -> None:
    is_large = len(queue.pieces) >= LARGE_FROM
    seconds = arguments.seconds or (30 if is_large else 10)
    print(f"\n{queue.name}: {len(queue.pieces)} pieces")
    print(f"  {'':24} firings   fill   late  seconds  first plan")
    by_hand = _row("by hand", queue, *_timed(lambda: plan_without_dates(queue, first_place)))
    _row("by hand, by dates", queue, *_timed(lambda: plan_by(queue, first_place)))
    _row("rectangles", queue, *_timed(lambda: plan_without_dates(queue, in_rectangles)))
    print(f"  {'bound of areas alone':24} {_area_bound(queue):7}")
    bound, bound_s = _timed_bound(queue)
    print(f"  {'bound':24} {bound:7} {'':13} {bound_s:8.1f}")
    for label, dates in (("planner, dates ignored", False), ("planner", True)):
        curve = _curve(queue, seconds, arguments.seed, dates)
        plan, at_s = curve[-1][2], curve[-1][0]
        _row(label, queue, plan, at_s, first_s=curve[0][0], first=curve[0][1])
        print(f"    over time: {_over_time(curve)}")
    if len(plan.firings) > len(by_hand.firings):
        print("    worse than by hand: dates were kept that by hand are missed")
    _measure_next_load(queue, 15 if is_large else 5, arguments.seed)


def _row(
    label: str,
    queue: Queue,
    plan: QueuePlan,
    seconds: float,
    first_s: float | None = None,
    first: int = 0,
) -> QueuePlan:
    faults = check_queue_plan(queue, plan)
    if faults:
        sys.exit(f"{label} of {queue.name} cannot be carried out: {faults[0]}")
    begun = "" if first_s is None else f"  {first:3} in {first_s:.1f} s"
    print(
        f"  {label:24} {len(plan.firings):7} {fill_of(queue, plan):6.1%} "
        f"{late_pieces(queue, plan):6} {seconds:8.1f}{begun}"
    )
    return plan


def _timed(make: Any) -> tuple[QueuePlan, float]:
    began_s = time.process_time()
    return make(), time.process_time() - began_s


def _timed_bound(queue: Queue) -> tuple[int, float]:
    began_s = time.process_time()
    bound = firings_bound(queue.space, queue.pieces, queue.gap_mm)
    return bound, time.process_time() - began_s


def _area_bound(queue: Queue) -> int:
    """Footprints against all the shelves of the kiln, stage and cone by stage and cone."""
    shelves = sum(stack.shelf.area_mm2 * stack.shelves_count for stack in queue.space.stacks)
    areas: dict[tuple[str, str], int] = {}
    for piece in queue.pieces:
        kind = (piece.stage, piece.cone)
        areas[kind] = areas.get(kind, 0) + piece.area_mm2
    return sum(math.ceil(area / shelves) for area in areas.values())


def _curve(
    queue: Queue, seconds: float, seed: int, respect_dates: bool
) -> list[tuple[float, int, QueuePlan]]:
    """(seconds, firings, plan) whenever the search found a better plan."""
    found: list[tuple[float, int, QueuePlan]] = []
    began_s = time.process_time()
    for progress in improve_queue(queue, respect_dates=respect_dates, seed=seed):
        at_s = time.process_time() - began_s
        if not found or progress.plan is not found[-1][2]:
            found.append((at_s, progress.firings, progress.plan))
        if at_s > seconds:
            break
    return found


def _over_time(curve: list[tuple[float, int, QueuePlan]]) -> str:
    told = []
    for limit_s in CURVE_S:
        reached = [firings for at_s, firings, _ in curve if at_s <= limit_s]
        if reached:
            told.append(f"{limit_s:g} s {reached[-1]}")
    return ", ".join(told)


def _measure_next_load(queue: Queue, seconds: float, seed: int) -> None:
    began_s = time.process_time()
    best = None
    at_s = 0.0
    for progress in improve_next_load(queue, seed=seed):
        now_s = time.process_time() - began_s
        if best is None or progress.area_mm2 > best.area_mm2:
            at_s = now_s
        best = progress
        if now_s > seconds:
            break
    if best is None:
        print("  next load: nothing is dry")
        return
    faults = check_queue_plan(queue, best.as_plan(queue))
    if faults:
        sys.exit(f"the next load of {queue.name} cannot be carried out: {faults[0]}")
    within = 1 - best.area_mm2 / best.bound_mm2
    print(
        f"  next load: {best.area_mm2 / 100:,.0f} cm2 at {at_s:.1f} s, within {within:.1%} of the "
        f"bound {best.bound_mm2 / 100:,.0f} cm2; {best.steps} steps"
    )


if __name__ == "__main__":
    main()
