"""What stands on one shelf, without saying whose it is or how high: patterns of footprints.

Whether a set of footprints fits on a shelf has nothing to do with heights, owners or dates, so the
search asks it of a `ShelfBook`, which remembers every answer. A pattern is never changed: adding a
footprint gives another pattern, and both "yes, there" and "no room" are kept. A disc that found no
room bars every larger footprint too, which answers most questions without any geometry.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

import numpy as np

from firings.calculations.footprints import Disc, Footprint, area_mm2
from firings.calculations.kiln_space import bodies_of
from firings.calculations.load_plan import quarter_choices
from firings.calculations.outlines import Body, place_within
from firings.calculations.planning.places import (
    NOTHING,
    Array,
    Room,
    clearances_mm,
    free_places,
    is_free,
    room_for,
)
from firings.calculations.planning.region import Region
from firings.calculations.planning.shelf_capacity import polygon_around
from firings.calculations.planning.squeeze import squeeze

FAR, LOW, TIGHT = range(3)
# A set is put down anew only if it covers a little more than the fullest shelf so far at most, or
# less than this share of the shelf.
FULLER, HOPEFUL = 1.03, 0.72
# Larger sets are left to adding one by one: each try of theirs costs too much.
MOST_SHAPES = 10
# Ways to put a set down anew: so many each time it is asked for, so many in all, then one squeeze.
TRIES, MOST_TRIES, SQUEEZE_STEPS = 3, 5, 60
# Free places are kept for so many patterns and bodies of one book.
PLACES_KEPT = 4_000


@dataclass(frozen=True, slots=True)
class Shape:
    """One kind of footprint. `inner_mm`: the radius of the widest disc inside it."""

    number: int
    footprint: Footprint
    bodies: tuple[tuple[Body, int], ...]
    area_mm2: int
    inner_mm: float
    outer_mm: float
    sides_mm: tuple[int, int] = (0, 0)
    quarters: int = 0


def shape_of(number: int, footprint: Footprint) -> Shape:
    area = area_mm2(footprint)
    if isinstance(footprint, Disc):
        inner = outer = footprint.diameter_mm / 2
        sides = (0, 0)
    else:
        sides = (
            max(footprint.width_mm, footprint.depth_mm),
            min(footprint.width_mm, footprint.depth_mm),
        )
        inner = min(footprint.width_mm, footprint.depth_mm) / 2
        outer = (footprint.width_mm**2 + footprint.depth_mm**2) ** 0.5 / 2
    return Shape(number, footprint, bodies_of(footprint), area, inner, outer, sides)


def quarters_shape(number: int, quarters: int, shelf_mm2: int) -> Shape:
    """A booked fraction of a shelf: it takes whole quarters and has no place of its own."""
    return Shape(number, Disc(1), (), shelf_mm2 * quarters // 4, 0.0, 0.0, quarters=quarters)


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

    __slots__ = (
        "_barred_mm",
        "_barred_sides",
        "_next",
        "area_mm2",
        "before",
        "book",
        "key",
        "spots",
        "things",
    )

    def __init__(
        self,
        book: "ShelfBook",
        spots: tuple[Spot, ...],
        key: tuple[int, ...],
        before: "Pattern | None" = None,
    ) -> None:
        self.book = book
        self.before = before
        self.spots = spots
        self.key = key
        rows = [row for spot in spots for row in book.rows_of(spot)]
        self.things = np.array([*book.fixed_rows, *rows]) if rows or book.fixed_rows else NOTHING
        self.area_mm2 = sum(spot.shape.area_mm2 for spot in spots)
        self._next: dict[int, Pattern | None] = {}
        self._barred_mm = float("inf")
        self._barred_sides: list[tuple[int, int]] = []

    def is_barred(self, shape: Shape) -> bool:
        """Whether this pattern is known to have no room for another of this shape."""
        if shape.number in self._next:
            return self._next[shape.number] is None
        if shape.inner_mm >= self._barred_mm:
            return True
        long, short = shape.sides_mm
        return any(long >= a and short >= b for a, b in self._barred_sides)

    def _bar(self, shape: Shape) -> None:
        """Remember a shape without room: whatever it would lie inside of has none either."""
        if shape.quarters:
            return
        self._barred_mm = min(self._barred_mm, shape.outer_mm)
        if shape.sides_mm[0]:
            self._barred_sides.append(shape.sides_mm)

    def plus(self, shape: Shape) -> "Pattern | None":
        """This pattern and one more footprint, none of the others moved; or None."""
        number = shape.number
        if number in self._next:
            return self._next[number]
        if self.is_barred(shape):
            return None
        spot = self.book.spot_for(self, shape)
        pattern = None
        if spot is None:
            self._bar(shape)
        else:
            pattern = self.book.pattern((*self.spots, spot), self)
        self._next[number] = pattern
        return pattern

    def standing_with(self, spot: Spot) -> "Pattern":
        """This pattern and a footprint just there, whatever the book knows of the same set."""
        spots = (*self.spots, spot)
        return Pattern(self.book, spots, tuple(sorted(one.shape.number for one in spots)))

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


class FailedDiscs:
    """Sets of discs that could not be put on a shelf, by their number; larger ones will not be."""

    def __init__(self) -> None:
        self._radii: dict[int, Array] = {}

    def add(self, shapes: Sequence[Shape]) -> None:
        radii = _disc_radii(shapes)
        if len(radii) == len(shapes):
            rows = self._radii.get(len(radii), np.zeros((0, len(radii))))
            self._radii[len(radii)] = np.concatenate((rows, np.array([radii])))

    def has_less_than(self, shapes: Sequence[Shape]) -> bool:
        """Whether the widest discs among the shapes are each as wide as those of a failed set."""
        radii = np.array(_disc_radii(shapes))
        return any(
            count <= len(radii) and bool((rows <= radii[:count]).all(axis=1).any())
            for count, rows in self._radii.items()
        )


def _disc_radii(shapes: Sequence[Shape]) -> list[float]:
    """Of the discs only, the widest first."""
    return sorted(
        (one.inner_mm for one in shapes if isinstance(one.footprint, Disc) and not one.quarters),
        reverse=True,
    )


class ShelfBook:
    """Every pattern tried on one kind of shelf: a tower's, with or without posts on it.

    `held_rows`: locked ware and room kept free, as rows of `places`; `fixed_quarters` are booked
    by locked fractions.
    """

    def __init__(
        self,
        region: Region,
        gap_mm: float,
        held_rows: Sequence[tuple[float, float, float, float, float]],
        quarter_lines_mm: tuple[float, float],
        fixed_quarters: frozenset[int] = frozenset(),
    ) -> None:
        self.region = region
        self.outline = region.outline
        self.bounds_mm = region.bounds_mm
        self.gap_mm = gap_mm
        posts = [(post.x_mm, post.y_mm, 0.0, 0.0, post.radius_mm) for post in region.posts]
        self.quarter_lines_mm = quarter_lines_mm
        booked = [self.quarter_row(quarter) for quarter in sorted(fixed_quarters)]
        self.held_rows = (*held_rows, *booked)
        self.fixed_rows = (*posts, *self.held_rows)
        self.fixed_quarters = fixed_quarters
        self.questions = 0
        self._across_mm = _across_mm(region)
        self._rooms: dict[Body, Room] = {}
        self._known: dict[tuple[int, ...], Pattern] = {}
        self._tries: dict[tuple[int, ...], int] = {}
        self._failed = FailedDiscs()
        self._places: dict[tuple[Pattern, Body], Array] = {}
        self.fullest = 0
        self.empty = self.pattern(())

    def pattern(self, spots: tuple[Spot, ...], before: Pattern | None = None) -> Pattern:
        """The pattern of these footprints; one already known of the same set stands for all.

        `before`: the pattern that was as this one is but for the last spot.
        """
        key = tuple(sorted(spot.shape.number for spot in spots))
        known = self._known.get(key)
        if known is None:
            known = self._known[key] = Pattern(self, spots, key, before)
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
            return self._quarters_for(pattern.spots, shape)
        if style is None:
            style = (sum(pattern.key) + len(pattern.key)) % 3
        free = {body: self._free_places(pattern, body) for body, _ in shape.bodies}
        return self._spot_among(pattern.things, shape, style, free)

    def _free_places(self, pattern: Pattern, body: Body) -> Array:
        """Where a body can stand, from what is known of the patterns that this one grew from."""
        found = self._places.get((pattern, body))
        if found is not None:
            return found
        older, known = pattern.before, None
        while older is not None and known is None:
            before = self._places.get((older, body))
            known = None if before is None else (len(older.things), before)
            older = older.before
        if len(self._places) >= PLACES_KEPT:
            self._places.clear()
        found = free_places(self.room(body), pattern.things, known)
        self._places[pattern, body] = found
        return found

    def _spot_among(
        self, things: Array, shape: Shape, style: int, free: dict[Body, Array] | None = None
    ) -> Spot | None:
        best: tuple[float, float, float, Body, int] | None = None
        for body, turn in shape.bodies:
            room = self.room(body)
            found = free_places(room, things) if free is None else free[body]
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
        return self.spot(shape, x_mm, y_mm, body, turn)

    def _quarters_for(self, spots: Sequence[Spot], shape: Shape) -> Spot | None:
        taken = {quarter for spot in spots for quarter in spot.quarters}
        taken |= self.fixed_quarters
        posts_and_ware = [row for spot in spots if not spot.quarters for row in self.rows_of(spot)]
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

    def repacked(self, shapes: Sequence[Shape]) -> Pattern | None:
        """All these footprints on one shelf, wherever they go; None when none of the ways tried.

        Widest first, in turn by each rule of choice, then with the order shaken a little; and when
        that has failed long enough, squeezed together once (`squeeze`). Each time the same set is
        asked for, some further ways are tried, so that work goes to the sets that the search
        keeps coming back to. The shaking is seeded by the set itself.
        """
        key = tuple(sorted(shape.number for shape in shapes))
        if key in self._known:
            return self._known[key]
        if self.is_hopeless(shapes):
            return None
        done = self._tries.get(key, 0)
        self._tries[key] = done + TRIES
        for attempt in range(done, done + TRIES):
            spots = self._all_spots(self._order(shapes, key, attempt), attempt % 3)
            if spots is not None:
                return self.pattern(spots)
        if done + TRIES > MOST_TRIES:
            spots = self._squeezed(shapes)
            if spots is not None:
                return self.pattern(spots)
            self._failed.add(shapes)
        return None

    def is_hopeless(self, shapes: Sequence[Shape]) -> bool:
        """Whether a set is not worth putting down anew: too much, too wide, or tried enough."""
        key = tuple(sorted(shape.number for shape in shapes))
        if key in self._known:
            return False
        tries = self._tries.get(key)
        if tries is not None and tries > MOST_TRIES:
            return True
        if self._failed.has_less_than(shapes):
            return True
        if tries is None:
            area = sum(shape.area_mm2 for shape in shapes)
            widest = sorted((shape.inner_mm for shape in shapes), reverse=True)[:2]
            too_wide = 2 * sum(widest) + self.gap_mm > self._across_mm + 1e-6
            too_much = len(shapes) > MOST_SHAPES or area > max(
                self.fullest * FULLER, self.region.area_mm2 * HOPEFUL
            )
            if too_much:
                return True
            self._tries[key] = MOST_TRIES + 1 if too_wide and len(shapes) > 1 else 0
        return self._tries[key] > MOST_TRIES

    @staticmethod
    def _order(shapes: Sequence[Shape], key: tuple[int, ...], attempt: int) -> list[Shape]:
        random = Random(repr((attempt, key)))  # noqa: S311
        least = 1.0 if attempt < TRIES else 0.7
        return sorted(
            shapes,
            key=lambda s: (-s.quarters, -s.outer_mm * random.uniform(least, 1.0), s.number),
        )

    def _squeezed(self, shapes: Sequence[Shape]) -> tuple[Spot, ...] | None:
        """Every footprint let go on the shelf at once until none overlaps; not with quarters."""
        if any(shape.quarters for shape in shapes):
            return None
        pieces = {str(number): shape.footprint for number, shape in enumerate(shapes)}
        self.questions += 20
        puts = squeeze(
            self.region,
            pieces,
            self.gap_mm,
            seed=len(shapes),
            steps=SQUEEZE_STEPS,
            in_the_way=self.held_rows,
        )
        if puts is None:
            return None
        spots = []
        for put in puts:
            shape = shapes[int(put.piece_id)]
            turn = int(put.turn_deg) if len(shape.bodies) > 1 else 0
            body = next(body for body, own in shape.bodies if own == turn)
            spots.append(self.spot(shape, put.x_mm, put.y_mm, body, turn))
        return tuple(spots)

    def spot(self, shape: Shape, x_mm: float, y_mm: float, body: Body, turn: int) -> Spot:
        reach = body.radius_mm + self.gap_mm
        row = (x_mm, y_mm, body.half_width_mm, body.half_depth_mm, reach)
        return Spot(shape, x_mm, y_mm, turn, row)

    def _all_spots(self, shapes: Sequence[Shape], style: int) -> tuple[Spot, ...] | None:
        spots: list[Spot] = []
        rows = list(self.fixed_rows)
        for shape in shapes:
            self.questions += 1
            if shape.quarters:
                spot = self._quarters_for(spots, shape)
            else:
                things = np.array(rows) if rows else NOTHING
                spot = self._spot_among(things, shape, style)
            if spot is None:
                return None
            spots.append(spot)
            rows += self.rows_of(spot)
        return tuple(spots)

    def fits_here(self, spots: Sequence[Spot]) -> bool:
        """Whether footprints placed on another book's shelf can stand the same way on this one."""
        fixed = np.array(self.fixed_rows) if self.fixed_rows else NOTHING
        return all(
            bool(spot.quarters) or is_free(self.room(_body_of(spot)), fixed, spot.x_mm, spot.y_mm)
            for spot in spots
        )


def _across_mm(region: Region) -> float:
    """No two points of the region are farther apart."""
    corners = polygon_around(region.outline, region.bounds_mm)
    across = [math.dist(one, other) for one in corners for other in corners]
    circles = [2 * circle.radius_mm for circle in region.outline.circles]
    return min(max(across, default=0.0), *circles, math.inf)


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
