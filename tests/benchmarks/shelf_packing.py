"""How tightly one shelf is packed, against published packings and against placing one by one.

    python -m tests.benchmarks.shelf_packing [--steps 60000] [--sets 40] [--seed 1] [--only discs]

Three tables. Equal discs in the smallest circle: how far above the best known radius (Graham,
Lubachevsky, Nurmela, Ostergard 1998; Specht's list). Rectangles in a circle: share of the area
published by Bouzid and Salhi 2020, quarter turns, no spacing; a run ends at the mark set for it
(99 %, 97 % for the set of 100) or after `--steps`. Whole sets of pots on a round shelf of 430 mm
with three posts and 6 mm of spacing: how many of them find room when squeezed, and when placed one
by one, widest first, each where it has least room to spare. Seconds are of processor time, so that
other work on the machine counts little; the ratio in the last table is of one run.
"""

from __future__ import annotations

import argparse
import math
import time
from collections.abc import Callable
from random import Random

from firings.calculations.footprints import Disc, Footprint, Rectangle, area_mm2
from firings.calculations.load_plan import Placement
from firings.calculations.outlines import Circle, round_outline
from firings.calculations.planning.fullest_shelf import fuller_and_fuller
from firings.calculations.planning.region import Region
from firings.calculations.planning.round_shelf import smallest_radius
from firings.calculations.planning.squeeze import squeeze
from tests.benchmarks.one_by_one import placed_one_by_one
from tests.published_packings import RADIUS_AROUND_UNIT_CIRCLES, RECTANGLE_SETS, in_hundredths

DISC_STEPS = 960
SHARES = (0.55, 0.60, 0.63, 0.66, 0.69, 0.72)
GAP_MM = 6
# Three posts of 38 mm near the rim, ware 6 mm away from them.
_TURNS = (90, 210, 330)
POT_SHELF = Region(
    round_outline(430),
    tuple(
        Circle(192 * math.cos(math.radians(t)), 192 * math.sin(math.radians(t)), 25) for t in _TURNS
    ),
    (-215, -215, 215, 215),
    145_220,
)


def main() -> None:
    tables: dict[str, Callable[[argparse.Namespace], None]] = {
        "discs": _equal_discs,
        "rectangles": _rectangles,
        "pots": _pots,
    }
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--steps", type=int, default=60_000, help="for each rectangle set")
    parser.add_argument("--sets", type=int, default=40, help="of pots for each density")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", choices=sorted(tables))
    arguments = parser.parse_args()
    for name, table in tables.items():
        if arguments.only in (None, name):
            table(arguments)


def _equal_discs(arguments: argparse.Namespace) -> None:
    print("equal discs   above the best known radius   seconds")
    worst, total_s = 0.0, 0.0
    for count, best_known in enumerate(RADIUS_AROUND_UNIT_CIRCLES, start=1):
        began = time.process_time()
        radius, _ = smallest_radius([1.0] * count, seed=arguments.seed, steps=DISC_STEPS)
        took_s = time.process_time() - began
        above = max(0.0, 100 * (radius / best_known - 1))
        worst, total_s = max(worst, above), total_s + took_s
        print(f"{count:>11}   {above:>25.4f} %   {took_s:>7.2f}", flush=True)
    print(f"{'worst':>11}   {worst:>25.4f} %   {total_s:>7.2f}\n")


def _rectangles(arguments: argparse.Namespace) -> None:
    print("rectangles   radius   share of published   pieces   steps   seconds")
    for name, rectangle_set in RECTANGLE_SETS.items():
        mark = 0.97 if name == "rect100" else 0.99
        for number, radius in enumerate(rectangle_set.container_radii):
            radius_mm, published_mm2, pieces = in_hundredths(rectangle_set, number)
            region = Region(
                round_outline(2 * radius_mm),
                (),
                (-radius_mm, -radius_mm, radius_mm, radius_mm),
                round(math.pi * radius_mm**2),
            )
            began, share, at = time.process_time(), 0.0, 0
            placements: tuple[Placement, ...] = ()
            for steps, placements in fuller_and_fuller(
                region, pieces, 0, seed=arguments.seed, steps=arguments.steps
            ):
                at, filled = steps, sum(area_mm2(pieces[put.piece_id]) for put in placements)
                share = filled / published_mm2
                if share >= mark:
                    break
            took_s = time.process_time() - began
            print(
                f"{name:>10}   {radius:>6.2f}   {100 * share:>16.2f} %   "
                f"{len(placements):>6}   {at:>5}   {took_s:>7.1f}",
                flush=True,
            )
    print()


def _pots(arguments: argparse.Namespace) -> None:
    print("pots cover   sets   one by one   squeezed   squeezed, free turns   ms   ratio of time")
    for share in SHARES:
        sets = [_some_pots(share, arguments.seed * 10_000 + n) for n in range(arguments.sets)]
        by_hand, by_hand_s = _count(lambda s, n: placed_one_by_one(POT_SHELF, s, GAP_MM), sets)
        quarter, quarter_s = _count(
            lambda s, n: squeeze(POT_SHELF, s, GAP_MM, seed=n, steps=600), sets
        )
        free, _ = _count(
            lambda s, n: squeeze(POT_SHELF, s, GAP_MM, seed=n, steps=600, may_turn="any"), sets
        )
        print(
            f"{100 * share:>8.0f} %   {len(sets):>4}   {by_hand:>10}   {quarter:>8}   {free:>20}   "
            f"{1000 * quarter_s / len(sets):>4.0f}   {quarter_s / max(by_hand_s, 1e-9):>5.1f}",
            flush=True,
        )


def _count(
    place: Callable[[dict[str, Footprint], int], tuple[Placement, ...] | None],
    sets: list[dict[str, Footprint]],
) -> tuple[int, float]:
    """How many of the sets find room, and the processor seconds taken."""
    began = time.process_time()
    found = sum(place(pots, number) is not None for number, pots in enumerate(sets))
    return found, time.process_time() - began


def _some_pots(share: float, seed: int) -> dict[str, Footprint]:
    """Discs of 60 to 200 mm and some rectangles that cover nearly this share of the shelf."""
    random, most = Random(seed), share * POT_SHELF.area_mm2
    while True:
        pots: dict[str, Footprint] = {}
        covered = 0
        for _ in range(60):
            size: Footprint = Disc(random.randrange(60, 205, 5))
            if random.random() < 0.2:
                size = Rectangle(random.randrange(60, 160, 5), random.randrange(60, 160, 5))
            if covered + area_mm2(size) <= most:
                pots[f"p{len(pots)}"] = size
                covered += area_mm2(size)
        if covered > most - 3000:
            return pots


if __name__ == "__main__":
    main()
