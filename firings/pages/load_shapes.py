"""Outlines of shelves and ware as paths of a picture, in mm seen from above.

The chamber's middle is (0, 0). A picture counts downwards, so what is at the back is on top.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from firings.calculations.footprints import Disc, Footprint
from firings.calculations.shelves import Shelf


def circle_path(x_mm: float, y_mm: float, radius_mm: float) -> str:
    """A circle as two arcs."""
    across = 2 * radius_mm
    return (
        f"M{x_mm - radius_mm:.1f} {-y_mm:.1f}"
        f"a{radius_mm:.1f} {radius_mm:.1f} 0 1 0 {across:.1f} 0"
        f"a{radius_mm:.1f} {radius_mm:.1f} 0 1 0 {-across:.1f} 0Z"
    )


def polygon_path(corners_mm: Iterable[tuple[float, float]]) -> str:
    """A closed outline through corners."""
    return "M" + "L".join(f"{x:.1f} {-y:.1f}" for x, y in corners_mm) + "Z"


def rectangle_path(
    x_mm: float, y_mm: float, width_mm: float, depth_mm: float, turn_deg: float = 0
) -> str:
    """A rectangle around its middle, turned counter-clockwise."""
    turn = math.radians(turn_deg)
    cos, sin = math.cos(turn), math.sin(turn)
    halves = [(1, 1), (-1, 1), (-1, -1), (1, -1)]
    corners = [(step_x * width_mm / 2, step_y * depth_mm / 2) for step_x, step_y in halves]
    return polygon_path((x_mm + x * cos - y * sin, y_mm + x * sin + y * cos) for x, y in corners)


def footprint_path(footprint: Footprint, x_mm: float, y_mm: float, turn_deg: float) -> str:
    """A piece where it stands."""
    if isinstance(footprint, Disc):
        return circle_path(x_mm, y_mm, footprint.diameter_mm / 2)
    return rectangle_path(x_mm, y_mm, footprint.width_mm, footprint.depth_mm, turn_deg)


def half_width_mm(footprint: Footprint, turn_deg: float) -> float:
    """How far a piece reaches to its right, as seen from the front."""
    if isinstance(footprint, Disc):
        return footprint.diameter_mm / 2
    turn = math.radians(turn_deg)
    across = footprint.width_mm * abs(math.cos(turn)) + footprint.depth_mm * abs(math.sin(turn))
    return across / 2


def shelf_path(shelf: Shelf) -> str:
    """The outline of a shelf."""
    left, front, right, back = shelf.bounds_mm
    if shelf.shape == "rectangle":
        return polygon_path([(left, front), (right, front), (right, back), (left, back)])
    if shelf.shape == "round":
        return circle_path(0, 0, right)
    if shelf.shape == "octagon":
        radius = right / math.cos(math.pi / 8)
        turns = [math.pi / 8 + step * math.pi / 4 for step in range(8)]
        return polygon_path((radius * math.cos(turn), radius * math.sin(turn)) for turn in turns)
    return _half_round_path(shelf)


def _half_round_path(shelf: Shelf) -> str:
    radius = (shelf.diameter_mm or 0) / 2
    cut = shelf.cut_at_mm
    reach = math.sqrt(radius**2 - cut**2)
    is_right = shelf.side == "right"
    is_more_than_half = int(cut < 0 if is_right else cut > 0)
    return (
        f"M{cut:.1f} {-reach:.1f}"
        f"A{radius:.1f} {radius:.1f} 0 {is_more_than_half} {int(is_right)} {cut:.1f} {reach:.1f}Z"
    )


def quarter_path(shelf: Shelf, quarter: int) -> str:
    """One quarter as a rectangle, to be clipped by the outline of its shelf.

    Quarters count counter-clockwise from the right back.
    """
    left, front, right, back = shelf.bounds_mm
    x_mm, y_mm = shelf.quarter_lines_mm
    x_from, x_to = (x_mm, right) if quarter in (0, 3) else (left, x_mm)
    y_from, y_to = (y_mm, back) if quarter in (0, 1) else (front, y_mm)
    return polygon_path([(x_from, y_from), (x_to, y_from), (x_to, y_to), (x_from, y_to)])


def quarter_middle(shelf: Shelf, quarters: Iterable[int]) -> tuple[float, float]:
    """Where the label of some quarters stands: the middle of their rectangles."""
    left, front, right, back = shelf.bounds_mm
    x_mm, y_mm = shelf.quarter_lines_mm
    xs = [(x_mm + right) / 2 if quarter in (0, 3) else (left + x_mm) / 2 for quarter in quarters]
    ys = [(y_mm + back) / 2 if quarter in (0, 1) else (front + y_mm) / 2 for quarter in quarters]
    return sum(xs) / len(xs), sum(ys) / len(ys)


def place_words(shelf: Shelf, x_mm: float, y_mm: float) -> str:
    """Where on its shelf something stands, in words: "back left"."""
    left, front, right, back = shelf.bounds_mm
    x_share = (x_mm - left) / (right - left)
    y_share = (y_mm - front) / (back - front)
    deep = "front" if y_share < 1 / 3 else "back" if y_share > 2 / 3 else ""
    side = "left" if x_share < 1 / 3 else "right" if x_share > 2 / 3 else ""
    return " ".join(word for word in (deep, side) if word) or "middle"


QUARTER_WORDS = ("back right", "back left", "front left", "front right")
