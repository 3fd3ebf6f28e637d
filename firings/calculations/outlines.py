"""Convex outlines seen from above: the inside of a chamber, the top of a shelf.

An outline is the part of the plane that lies inside every circle and behind every straight edge.
Lengths are mm, the middle of the chamber is (0, 0), x goes right and y goes back.
"""

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

# Only absorbs the rounding of floating point; a hundred thousandth of a millimetre.
ROUNDING_MM = 1e-5


@dataclass(frozen=True, slots=True)
class Body:
    """A footprint as a core rectangle (half sizes, 0 for a disc) grown by a radius."""

    half_width_mm: float
    half_depth_mm: float
    radius_mm: float


@dataclass(frozen=True, slots=True)
class Circle:
    """A disc that an outline lies inside."""

    x_mm: float
    y_mm: float
    radius_mm: float


@dataclass(frozen=True, slots=True)
class Edge:
    """The points whose distance along the unit normal is at most `reach_mm`."""

    normal_x: float
    normal_y: float
    reach_mm: float


@dataclass(frozen=True, slots=True)
class Outline:
    """The points inside every circle and behind every edge."""

    circles: tuple[Circle, ...]
    edges: tuple[Edge, ...]

    def shrunk(self, by_mm: float) -> "Outline":
        """The outline with a border of `by_mm` taken away all round."""
        return Outline(
            tuple(Circle(c.x_mm, c.y_mm, c.radius_mm - by_mm) for c in self.circles),
            tuple(Edge(e.normal_x, e.normal_y, e.reach_mm - by_mm) for e in self.edges),
        )

    def within(self, other: "Outline") -> "Outline":
        """The part that two outlines have in common."""
        return Outline(self.circles + other.circles, self.edges + other.edges)

    def overhang_mm(self, body: Body, x_mm: float, y_mm: float) -> float:
        """How far a body with its middle at x, y sticks out; 0 or less is inside."""
        worst = -math.inf
        for circle in self.circles:
            far_x = abs(x_mm - circle.x_mm) + body.half_width_mm
            far_y = abs(y_mm - circle.y_mm) + body.half_depth_mm
            worst = max(worst, math.hypot(far_x, far_y) + body.radius_mm - circle.radius_mm)
        for edge in self.edges:
            reach = edge.normal_x * x_mm + edge.normal_y * y_mm + _reach_mm(body, edge)
            worst = max(worst, reach - edge.reach_mm)
        return worst


def _reach_mm(body: Body, edge: Edge) -> float:
    """How far a body reaches along the normal of an edge."""
    along_x = abs(edge.normal_x) * body.half_width_mm
    return along_x + abs(edge.normal_y) * body.half_depth_mm + body.radius_mm


def round_outline(diameter_mm: float) -> Outline:
    return Outline((Circle(0.0, 0.0, diameter_mm / 2),), ())


def octagon_outline(across_flats_mm: float) -> Outline:
    """A regular octagon whose flats face right, back, left and front."""
    turns = [number * math.pi / 4 for number in range(8)]
    edges = tuple(Edge(math.cos(turn), math.sin(turn), across_flats_mm / 2) for turn in turns)
    return Outline((), edges)


def rectangle_outline(
    width_mm: float, depth_mm: float, centre_mm: tuple[float, float] = (0.0, 0.0)
) -> Outline:
    x_mm, y_mm = centre_mm
    return Outline(
        (),
        (
            Edge(1.0, 0.0, x_mm + width_mm / 2),
            Edge(-1.0, 0.0, width_mm / 2 - x_mm),
            Edge(0.0, 1.0, y_mm + depth_mm / 2),
            Edge(0.0, -1.0, depth_mm / 2 - y_mm),
        ),
    )


def half_round_outline(diameter_mm: float, is_right: bool, cut_at_mm: float) -> Outline:
    """The part of a disc right of x = cut (`is_right`) or left of it."""
    sign = 1.0 if is_right else -1.0
    return Outline(
        (Circle(0.0, 0.0, diameter_mm / 2),), (Edge(-sign, 0.0, -sign * float(cut_at_mm)),)
    )


Bounds = tuple[float, float, float, float]  # left, front, right, back


def roomiest_place(outline: Outline, body: Body, bounds_mm: Bounds) -> tuple[float, float, float]:
    """Where a body has most room: (x_mm, y_mm, overhang_mm there).

    The overhang of a body in a convex outline is a convex function of its place, so a ternary
    search along x, with one along y inside it, finds the least.
    """
    left, front, right, back = bounds_mm

    def best_in_column(x_mm: float) -> tuple[float, float]:
        return _least(lambda y_mm: outline.overhang_mm(body, x_mm, y_mm), front, back)

    x_mm, overhang_mm = _least(lambda x: best_in_column(x)[1], left, right)
    return x_mm, best_in_column(x_mm)[0], overhang_mm


@lru_cache(maxsize=4096)
def place_within(outline: Outline, body: Body, bounds_mm: Bounds) -> tuple[float, float] | None:
    """A place where a body lies wholly inside, the middle if possible; None if there is none."""
    left, front, right, back = bounds_mm
    x_mm, y_mm = (left + right) / 2, (front + back) / 2
    if outline.overhang_mm(body, x_mm, y_mm) <= ROUNDING_MM:
        return x_mm, y_mm
    x_mm, y_mm, overhang_mm = roomiest_place(outline, body, bounds_mm)
    return (x_mm, y_mm) if overhang_mm <= ROUNDING_MM else None


def _least(function: Callable[[float], float], low: float, high: float) -> tuple[float, float]:
    """Where a convex function is least between two bounds, and its value there."""
    for _ in range(45):
        third = (high - low) / 3
        if function(low + third) <= function(high - third):
            high -= third
        else:
            low += third
    middle = (low + high) / 2
    return middle, function(middle)
