"""Queues of invented studios, the same for the same seed, to measure the planner on.

Nothing in them was measured anywhere: sizes are what members type, to 5 mm, and ware comes in sets
of like pieces, as it does from a wheel.
"""

from collections.abc import Iterator
from datetime import date, timedelta
from random import Random
from typing import Any

TODAY = date(2026, 3, 2)
POSTS_MM = (13, 25, 38, 51, 64, 76, 102, 127, 152, 178, 203, 229, 254, 305)
# kind: (across from, to, height from, to, how many in a set at most)
WARE = {
    "mug": (75, 100, 90, 120, 8),
    "bowl": (130, 240, 55, 105, 5),
    "plate": (200, 290, 25, 40, 6),
    "vase": (90, 150, 180, 330, 2),
    "jar": (110, 180, 120, 220, 2),
    "dish": (80, 130, 30, 60, 6),
    "tile": (60, 150, 10, 15, 8),
}
ROUND, EIGHT, HALVES, FRONT = "round", "eight-sided", "halves", "front-loading"


def invented_queues() -> Iterator[dict[str, Any]]:
    """Small, middling and large queues, one for each sort of kiln."""
    for number, (shape, across_mm, pieces) in enumerate(
        (
            (ROUND, 450, 25),
            (EIGHT, 450, 25),
            (HALVES, 450, 80),
            (FRONT, 600, 80),
            (ROUND, 700, 250),
            (EIGHT, 580, 250),
        )
    ):
        yield invented_queue(f"{shape}, {pieces} pieces", shape, across_mm, pieces, number)


def invented_queue(name: str, shape: str, across_mm: int, count: int, seed: int) -> dict[str, Any]:
    random = Random(seed)
    stages = (("glaze", "6"), ("bisque", "04")) if count > 30 else (("glaze", "6"),)
    pieces: list[dict[str, Any]] = []
    while len(pieces) < count:
        pieces += _ware_set(random, random.choice(stages), len(pieces), across_mm, shape)
    return {
        "name": name,
        "today": TODAY.isoformat(),
        "days_between_firings": 3,
        "kiln": _kiln(shape, across_mm),
        "gaps": {"glaze_mm": 6, "bisque_mm": 0, "to_posts_mm": 6, "above_mm": 10},
        "pieces": pieces[:count],
    }


def _ware_set(
    random: Random, stage: tuple[str, str], first: int, across_mm: int, shape: str
) -> list[dict[str, Any]]:
    kind = random.choice(list(WARE))
    low, high, lowest, highest, most = WARE[kind]
    widest = (across_mm - 60) // (2 if shape == HALVES else 1) - 10
    across = min(_to_5(random.uniform(low, high)), widest // 5 * 5)
    ready = TODAY + timedelta(days=random.randint(-20, 6))
    due = ready + timedelta(days=random.randint(10, 30)) if random.random() < 0.4 else None
    size = (
        {"width_mm": across, "depth_mm": _to_5(across * random.uniform(0.6, 1))}
        if kind == "tile"
        else {"diameter_mm": across}
    )
    common = {
        "member": f"m{random.randint(1, 40)}",
        "kind": kind,
        "stage": stage[0],
        "cone": stage[1],
        **size,
        "height_mm": _to_5(random.uniform(lowest, highest)),
        "ready_on": ready.isoformat(),
        "due_on": max(due, TODAY).isoformat() if due else None,
    }
    return [{"id": f"p{first + number:03d}", **common} for number in range(random.randint(1, most))]


def _to_5(size_mm: float) -> int:
    return max(5, round(size_mm / 5) * 5)


def _kiln(shape: str, across_mm: int) -> dict[str, Any]:
    shelf_mm = across_mm - 50
    rim = shelf_mm / 2 - 22
    thirds = [[0.0, rim], [-rim * 0.866, -rim / 2], [rim * 0.866, -rim / 2]]
    if shape == HALVES:
        stacks = [
            {
                "name": side,
                "shelf": {
                    "shape": "half round", "diameter_mm": shelf_mm, "side": side, "cut_at_mm": cut,
                },
                "shelves": 6,
                "posts_at_mm": [[sign * 25, rim * 0.9], [sign * 25, -rim * 0.9], [sign * rim, 0]],
            }
            for side, sign, cut in (("left", -1, -3), ("right", 1, 3))
        ]  # fmt: skip
    else:
        outline, places = _outline(shape, shelf_mm), thirds
        if shape == FRONT:
            corner = shelf_mm / 2 - 22
            places = [[x * corner, y * corner] for x, y in ((-1, -1), (1, -1), (1, 1), (-1, 1))]
        stacks = [{"name": "whole", "shelf": outline, "shelves": 7, "posts_at_mm": places}]
    return {
        "name": f"invented {shape} kiln",
        "chamber": {**_outline(shape, across_mm), "height_mm": round(across_mm * 1.05)},
        "keep_from_wall_mm": 25,
        "shelf_thickness_mm": 16 if across_mm < 550 else 19,
        "stacks": stacks,
        "posts": {
            "heights_mm": list(POSTS_MM), "stacked_at_most": 2, "width_mm": 38, "lowest_mm": 12.7,
        },
    }  # fmt: skip


def _outline(shape: str, across_mm: int) -> dict[str, Any]:
    if shape == EIGHT:
        return {"shape": "octagon", "across_flats_mm": across_mm}
    if shape == FRONT:
        return {"shape": "rectangle", "width_mm": across_mm, "depth_mm": across_mm}
    return {"shape": "round", "diameter_mm": across_mm}
