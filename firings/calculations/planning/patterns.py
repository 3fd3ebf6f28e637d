"""What stands on one shelf, without saying whose it is or how high: patterns of footprints.

Whether a set of footprints fits on a shelf has nothing to do with heights, owners or dates, so the
search asks it of a `ShelfBook`, which remembers every answer. A pattern is never changed: adding a
footprint gives another pattern, and both "yes, there" and "no room" are kept. A disc that found no
room bars every larger footprint too, which answers most questions without any geometry.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

import numpy as np

from firings.calculations.footprints import Disc, Footprint, area_mm2
from firings.calculations.kiln_space import bodies_of
from firings.calculations.load_plan import quarter_choices
from firings.calculations.outlines import Body, Outline, place_within
from firings.calculations.planning.places import (
    NOTHING,
    Array,
    Room,
    clearances_mm,
    free_places,
    is_free,
    room_for,
)
from firings.calculations.shelves import Bounds

FAR, LOW, TIGHT = range(3)


@dataclass(frozen=True, slots=True)
class Shape:
    """One kind of footprint. `inner_mm`: the radius of the widest disc inside it."""

    number: int
    bodies: tuple[tuple[Body, int], ...]
    area_mm2: int
    inner_mm: float
    outer_mm: float
    quarters: int = 0


def shape_of(number: int, footprint: Footprint) -> Shape:
    area = area_mm2(footprint)
    if isinstance(footprint, Disc):
        inner = outer = footprint.diameter_mm / 2
    else:
        inner = min(footprint.width_mm, footprint.depth_mm) / 2
        outer = (footprint.width_mm**2 + footprint.depth_mm**2) ** 0.5 / 2
    return Shape(number, bodies_of(footprint), area, inner, outer)


def quarters_shape(number: int, quarters: int, shelf_mm2: int) -> Shape:
    """A booked fraction of a shelf: it takes whole quarters and has no place of its own."""
    return Shape(number, (), shelf_mm2 * quarters // 4, 0.0, 0.0, quarters)


@dataclass(frozen=True, slots=True)
class Spot:
    """A footprint on the shelf; `quarters` only for a booked fraction."""

    shape: Shape
    x_mm: float
    y_mm: float
    turn_deg: float
    row: tuple[float, float, float, float, float]
    quarters: tuple[int, ...] = ()


class Pattern:
    """Footprints on one shelf of a book, each in its place. Never changed once made."""

    __slots__ = ("_barred_mm", "_next", "area_mm2", "book", "key", "spots", "things")

    def __init__(self, book: "ShelfBook", spots: tuple[Spot, ...], key: tuple[int, ...]) -> None:
        self.book = book
        self.spots = spots
        self.key = key
        rows = [row for spot in spots for row in book.rows_of(spot)]
        self.things = np.array([*book.fixed_rows, *rows]) if rows or book.fixed_rows else NOTHING
        self.area_mm2 = sum(spot.shape.area_mm2 for spot in spots)
        self._next: dict[int, Pattern | None] = {}
        self._barred_mm = float("inf")

    def is_barred(self, shape: Shape) -> bool:
        """Whether this pattern is known to have no room for another of this shape."""
        if shape.inner_mm >= self._barred_mm:
            return True
        return shape.number in self._next and self._next[shape.number] is None

    def plus(self, shape: Shape) -> "Pattern | None":
        """This pattern and one more footprint, none of the others moved; or None."""
        if shape.inner_mm >= self._barred_mm:
            return None
        number = shape.number
        if number in self._next:
            return self._next[number]
        spot = self.book.spot_for(self, shape)
        pattern = None
        if spot is None:
            if not shape.quarters and shape.outer_mm == shape.inner_mm:
                self._barred_mm = shape.inner_mm
        else:
            pattern = self.book.pattern((*self.spots, spot))
        self._next[number] = pattern
        return pattern

    def without(self, leaving: Sequence[int]) -> "Pattern":
        """This pattern less one footprint for each shape number named."""
        gone = list(leaving)
        kept = []
        for spot in self.spots:
            if spot.shape.number in gone:
                gone.remove(spot.shape.number)
            else:
                kept.append(spot)
        return self.book.pattern(tuple(kept))


class ShelfBook:
    """Every pattern tried on one kind of shelf: a tower's, with or without posts on it.

    `fixed_rows`: what stands there whatever the search does (posts, locked ware, room kept free),
    as rows of `places`; `fixed_quarters` are booked by locked fractions.
    """

    def __init__(
        self,
        outline: Outline,
        bounds_mm: Bounds,
        gap_mm: float,
        fixed_rows: Sequence[tuple[float, float, float, float, float]],
        quarter_lines_mm: tuple[float, float],
        fixed_quarters: frozenset[int] = frozenset(),
    ) -> None:
        self.outline = outline
        self.bounds_mm = bounds_mm
        self.gap_mm = gap_mm
        self.fixed_rows = tuple(fixed_rows)
        self.quarter_lines_mm = quarter_lines_mm
        self.fixed_quarters = fixed_quarters
        self.questions = 0
        self._rooms: dict[Body, Room] = {}
        self._known: dict[tuple[int, ...], Pattern] = {}
        self._tries: dict[tuple[int, ...], int] = {}
        self.fullest = 0.0
        self.empty = self.pattern(())

    def pattern(self, spots: tuple[Spot, ...]) -> Pattern:
        """The pattern of these footprints; one already known of the same set stands for all."""
        key = tuple(sorted(spot.shape.number for spot in spots))
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = Pattern(self, spots, key)
            self.fullest = max(self.fullest, known.area_mm2)
        return known

    def known(self, key: tuple[int, ...]) -> Pattern | None:
        return self._known.get(key)

    def room(self, body: Body) -> Room:
        if body not in self._rooms:
            middle = place_within(self.outline, body, self.bounds_mm)
            self._rooms[body] = room_for(self.outline, body, middle)
        return self._rooms[body]

    def rows_of(self, spot: Spot) -> list[tuple[float, float, float, float, float]]:
        if not spot.quarters:
            return [spot.row]
        return [self.quarter_row(quarter) for quarter in spot.quarters]

    def quarter_row(self, quarter: int) -> tuple[float, float, float, float, float]:
        """A quarter of the shelf as a thing in the way, half the spacing around it."""
        left, front, right, back = self.bounds_mm
        line_x, line_y = self.quarter_lines_mm
        low_x, high_x = (line_x, right) if quarter in (0, 3) else (left, line_x)
        low_y, high_y = (line_y, back) if quarter in (0, 1) else (front, line_y)
        return (
            (low_x + high_x) / 2,
            (low_y + high_y) / 2,
            (high_x - low_x) / 2,
            (high_y - low_y) / 2,
            self.gap_mm / 2,
        )

    def spot_for(self, pattern: Pattern, shape: Shape, style: int | None = None) -> Spot | None:
        """A place for one more footprint among the others, or None when there is none."""
        self.questions += 1
        if shape.quarters:
            return self._quarters_for(pattern, shape)
        if style is None:
            style = (sum(pattern.key) + len(pattern.key)) % 3
        return self._spot_among(pattern.things, shape, style)

    def _spot_among(self, things: Array, shape: Shape, style: int) -> Spot | None:
        best: tuple[float, float, float, Body, int] | None = None
        for body, turn in shape.bodies:
            room = self.room(body)
            found = free_places(room, things)
            if len(found) == 0:
                continue
            scores = _scores(style, room, things, found)
            first = int(scores.argmin())
            if best is None or scores[first] < best[0] - 1e-9:
                x_mm, y_mm = found[first].tolist()
                best = (float(scores[first]), x_mm, y_mm, body, turn)
        if best is None:
            return None
        _, x_mm, y_mm, body, turn = best
        reach = body.radius_mm + self.gap_mm
        row = (x_mm, y_mm, body.half_width_mm, body.half_depth_mm, reach)
        return Spot(shape, x_mm, y_mm, turn, row)

    def _quarters_for(self, pattern: Pattern, shape: Shape) -> Spot | None:
        taken = {quarter for spot in pattern.spots for quarter in spot.quarters}
        taken |= self.fixed_quarters
        posts_and_ware = [
            row for spot in pattern.spots if not spot.quarters for row in self.rows_of(spot)
        ]
        for quarters in quarter_choices(shape.quarters):
            if taken.isdisjoint(quarters) and all(
                self._is_clear_of(quarter, posts_and_ware) for quarter in quarters
            ):
                return Spot(shape, 0.0, 0.0, 0.0, self.quarter_row(quarters[0]), quarters)
        return None

    def _is_clear_of(
        self, quarter: int, rows: Sequence[tuple[float, float, float, float, float]]
    ) -> bool:
        """Whether no ware stands within half the spacing of a quarter."""
        x, y, wide, deep, half_gap = self.quarter_row(quarter)
        for ware_x, ware_y, across, along, reach in rows:
            beyond_x = max(0.0, abs(ware_x - x) - wide - across)
            beyond_y = max(0.0, abs(ware_y - y) - deep - along)
            # A row's reach holds the whole spacing; half of it is asked for here.
            if beyond_x**2 + beyond_y**2 < max(reach - half_gap - 1e-6, 1e-9) ** 2:
                return False
        return True

    def repacked(self, shapes: Sequence[Shape], tries: int) -> Pattern | None:
        """All these footprints on one shelf, wherever they go; None when `tries` ways fail.

        Widest first, in turn by each rule of choice, then with the order shaken a little. The same
        question always gives the same answer: the shaking is seeded by the set itself.
        """
        key = tuple(sorted(shape.number for shape in shapes))
        if key in self._known:
            return self._known[key]
        done = self._tries.get(key, 0)
        ordered = sorted(shapes, key=lambda s: (-s.quarters, -s.outer_mm, s.number))
        for attempt in range(done, tries):
            random = Random(repr((attempt, key)))
            style = attempt % 3
            if attempt >= 3:
                ordered = sorted(
                    shapes,
                    key=lambda s: (-s.quarters, -s.outer_mm * random.uniform(0.7, 1.0), s.number),
                )
            spots = self._all_spots(ordered, style)
            if spots is not None:
                return self.pattern(spots)
        self._tries[key] = max(tries, done)
        return None

    def _all_spots(self, shapes: Sequence[Shape], style: int) -> tuple[Spot, ...] | None:
        pattern = self.empty
        spots: list[Spot] = []
        rows = list(self.fixed_rows)
        for shape in shapes:
            self.questions += 1
            if shape.quarters:
                spot = self._quarters_for(_Loose(tuple(spots)), shape)
            else:
                things = np.array(rows) if rows else NOTHING
                spot = self._spot_among(things, shape, style)
            if spot is None:
                return None
            spots.append(spot)
            rows += self.rows_of(spot)
        del pattern
        return tuple(spots)

    def fits_here(self, spots: Sequence[Spot]) -> bool:
        """Whether footprints placed on another book's shelf can stand the same way on this one."""
        fixed = np.array(self.fixed_rows) if self.fixed_rows else NOTHING
        return all(
            bool(spot.quarters) or is_free(self.room(_body_of(spot)), fixed, spot.x_mm, spot.y_mm)
            for spot in spots
        )


@dataclass(frozen=True, slots=True)
class _Loose:
    """Spots that are no pattern yet."""

    spots: tuple[Spot, ...]


def _body_of(spot: Spot) -> Body:
    return next(body for body, turn in spot.shape.bodies if turn == spot.turn_deg)


def _scores(style: int, room: Room, things: Array, found: Array) -> Array:
    """The lower, the better the place: far out, low down, or snug in a corner."""
    if style == FAR:
        scores: Array = -(found * found).sum(axis=1)
    elif style == LOW:
        scores = found[:, 1] + found[:, 0] * 1e-3
    else:
        clear = clearances_mm(room, things, found)
        third = min(2, clear.shape[1] - 1)
        scores = np.partition(clear, third, axis=1)[:, third]
    return np.round(scores, 6)
