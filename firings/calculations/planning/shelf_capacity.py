"""How much one shelf can hold at most, however cleverly it is filled.

Two facts no packing escapes, for pieces that keep a gap from each other:

- *Area.* Grown by half the gap, pieces lie side by side in the shelf grown by half the gap, and
  beside the posts. Areas add up.
- *Number.* A piece holds a disc as wide as its narrow side. How many equal discs fit is known for
  a round container (Graham, Lubachevsky, Nurmela, Ostergard, Discrete Mathematics 181 (1998)
  139-154: the smallest radius for N unit circles, proven for N <= 14), and bounded for any convex
  one (N. Oler, Acta Mathematica 105 (1961) 19-48; from memory: points of a convex region that are
  1 apart are at most 2/sqrt(3) area + perimeter/2 + 1).

Lengths are mm. The region is replaced by a polygon around it, so every figure errs upwards.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

from firings.calculations.kiln_space import KilnSpace, Stack
from firings.calculations.outlines import Edge, Outline

Point = tuple[float, float]

TANGENTS = 180
# The radius of the smallest circle that holds N unit circles, N = 1 to 14, cut to four places.
SMALLEST_RADII = (
    1.0, 2.0, 2.1547, 2.4142, 2.7013, 3.0, 3.0, 3.3047, 3.6131, 3.8130, 3.9238, 4.0296, 4.2360,
    4.3284,
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class ShelfCapacity:
    """What stands on one shelf of a tower at most: as the top shelf, and below another.

    `carrying_mm2` and `top_mm2` count pieces grown by half the gap; `quarter_mm2` is what the
    smallest booked quarter takes of it at least. `widest_mm` is the longest line across it.
    """

    top_mm2: float
    carrying_mm2: float
    quarter_mm2: float
    region: tuple[Point, ...]
    enclosing_radius_mm: float
    widest_mm: float
    gap_mm: float

    def fit_together(self, one_mm: float, other_mm: float) -> bool:
        """Whether discs of these two radii could stand on the shelf at all, ends of one line."""
        return 2 * (one_mm + other_mm) + self.gap_mm <= self.widest_mm

    def most_beside(self, grown_mm2: float, broad_mm: float, inradius_mm: float) -> int:
        """How many discs of this radius can stand beside a piece of a grown area and inradius."""
        if not self.fit_together(broad_mm, inradius_mm):
            return 0
        disc_mm2 = math.pi * (inradius_mm + self.gap_mm / 2) ** 2
        by_area = math.floor((self.top_mm2 - grown_mm2) / disc_mm2 + 1e-6)
        return max(0, min(by_area, self.most_pieces(inradius_mm) - 1))

    def most_pieces(self, inradius_mm: float) -> int:
        """How many pieces that each hold a disc of this radius can stand on the shelf at most."""
        return min(
            _most_in_circle(
                (self.enclosing_radius_mm + self.gap_mm / 2) / (inradius_mm + self.gap_mm / 2)
            ),
            _most_in_polygon(self.region, inradius_mm, self.gap_mm),
        )


@lru_cache(maxsize=64)
def capacity_of(space: KilnSpace, stack: Stack, gap_mm: float) -> ShelfCapacity:
    """The capacity of one shelf of a tower for pieces `gap_mm` apart."""
    outline = space.ware_outline(stack)
    region = tuple(polygon_around(outline, stack.shelf.bounds_mm))
    grown_mm2 = _grown_area_mm2(region, gap_mm / 2)
    post_radius_mm = max(0.0, space.post_width_mm / 2 + space.gap_to_posts_mm - gap_mm / 2)
    posts_mm2 = sum(
        _area_mm2(_post_on(outline, place, post_radius_mm))
        for place in _apart(stack.post_places_mm, 2 * post_radius_mm)
    )
    quarter_mm2 = min(_area_mm2(quarter) for quarter in _quarters(region, stack)) * 0.999
    return ShelfCapacity(
        top_mm2=grown_mm2,
        carrying_mm2=grown_mm2 - posts_mm2,
        quarter_mm2=max(0.0, quarter_mm2 - posts_mm2),
        region=region,
        enclosing_radius_mm=_enclosing_radius_mm(outline, region),
        widest_mm=_widest_mm(outline, region),
        gap_mm=gap_mm,
    )


def polygon_around(outline: Outline, bounds_mm: tuple[float, float, float, float]) -> list[Point]:
    """A convex polygon that holds an outline and is hardly larger: tangents for the circles."""
    left, front, right, back = bounds_mm
    polygon = [(left, front), (right, front), (right, back), (left, back)]
    return _clipped_to(polygon, outline, 1.0)


def _post_on(outline: Outline, place: Point, radius_mm: float) -> list[Point]:
    """What a post and its gap take of an outline at least: chords for all circles."""
    turns = [2 * math.pi * number / TANGENTS for number in range(TANGENTS)]
    x_mm, y_mm = place
    disc = [(x_mm + radius_mm * math.cos(t), y_mm + radius_mm * math.sin(t)) for t in turns]
    return _clipped_to(disc, outline, math.cos(math.pi / TANGENTS))


def _clipped_to(polygon: list[Point], outline: Outline, circle_scale: float) -> list[Point]:
    """A polygon behind an outline's edges and behind tangents of its circles, scaled."""
    for edge in outline.edges:
        polygon = _clipped(polygon, edge)
    for circle in outline.circles:
        for number in range(TANGENTS):
            turn = 2 * math.pi * number / TANGENTS
            normal_x, normal_y = math.cos(turn), math.sin(turn)
            reach = circle.x_mm * normal_x + circle.y_mm * normal_y
            reach += circle.radius_mm * circle_scale
            polygon = _clipped(polygon, Edge(normal_x, normal_y, reach))
    return polygon


def _clipped(polygon: Sequence[Point], edge: Edge) -> list[Point]:
    """The part of a convex polygon behind an edge (Sutherland and Hodgman, 1974)."""
    kept: list[Point] = []
    for (ax, ay), (bx, by) in zip(polygon, [*polygon[1:], *polygon[:1]], strict=True):
        before = edge.normal_x * ax + edge.normal_y * ay - edge.reach_mm
        after = edge.normal_x * bx + edge.normal_y * by - edge.reach_mm
        if before <= 0:
            kept.append((ax, ay))
        if before * after < 0:
            share = before / (before - after)
            kept.append((ax + share * (bx - ax), ay + share * (by - ay)))
    return kept


def _area_mm2(polygon: Sequence[Point]) -> float:
    sides = zip(polygon, [*polygon[1:], *polygon[:1]], strict=True)
    return abs(sum(ax * by - bx * ay for (ax, ay), (bx, by) in sides)) / 2


def _perimeter_mm(polygon: Sequence[Point]) -> float:
    return sum(math.dist(a, b) for a, b in zip(polygon, [*polygon[1:], *polygon[:1]], strict=True))


def _grown_area_mm2(polygon: Sequence[Point], by_mm: float) -> float:
    """Steiner's formula: area + perimeter x by + pi x by squared."""
    return _area_mm2(polygon) + _perimeter_mm(polygon) * by_mm + math.pi * by_mm**2


def _apart(places: Iterable[Point], distance_mm: float) -> list[Point]:
    """Places so far apart that none is counted twice."""
    kept: list[Point] = []
    for place in places:
        if all(math.dist(place, other) >= distance_mm for other in kept):
            kept.append(place)
    return kept


def _quarters(region: Sequence[Point], stack: Stack) -> Iterable[list[Point]]:
    x_mm, y_mm = stack.shelf.quarter_lines_mm
    for side_x in (1.0, -1.0):
        for side_y in (1.0, -1.0):
            half = _clipped(region, Edge(side_x, 0.0, side_x * x_mm))
            yield _clipped(half, Edge(0.0, side_y, side_y * y_mm)) if half else []


def _enclosing_radius_mm(outline: Outline, region: Sequence[Point]) -> float:
    """Of a circle around the region: one of the outline's own, or one about its middle."""
    middle_x = (min(x for x, _ in region) + max(x for x, _ in region)) / 2
    middle_y = (min(y for _, y in region) + max(y for _, y in region)) / 2
    around = max(math.dist((middle_x, middle_y), corner) for corner in region)
    return min([around, *(circle.radius_mm for circle in outline.circles)])


def _widest_mm(outline: Outline, region: Sequence[Point]) -> float:
    across = max(math.dist(one, other) for one in region for other in region)
    return min([across, *(2 * circle.radius_mm for circle in outline.circles)]) + 1e-6


def _most_in_circle(ratio: float) -> int:
    """Of equal discs in a circle of `ratio` times their radius; no bound is proven from 14 on."""
    fitting = sum(1 for radius in SMALLEST_RADII if radius <= ratio + 1e-4)
    return fitting if fitting < len(SMALLEST_RADII) else 10**6


@lru_cache(maxsize=4096)
def _most_in_polygon(region: tuple[Point, ...], inradius_mm: float, gap_mm: float) -> int:
    """Oler's bound on the middles, which lie in the region shrunk by the radius."""
    inner: list[Point] = list(region)
    for (ax, ay), (bx, by) in zip(region, [*region[1:], *region[:1]], strict=True):
        length = math.dist((ax, ay), (bx, by))
        if length < 1e-9 or not inner:
            continue
        normal_x, normal_y = (by - ay) / length, (ax - bx) / length
        reach = normal_x * ax + normal_y * ay - inradius_mm + 1e-6
        inner = _clipped(inner, Edge(normal_x, normal_y, reach))
    if not inner:
        return 0
    apart_mm = 2 * inradius_mm + gap_mm
    points = 2 / math.sqrt(3) * _area_mm2(inner) / apart_mm**2
    return math.floor(points + _perimeter_mm(inner) / (2 * apart_mm) + 1 + 1e-6)
