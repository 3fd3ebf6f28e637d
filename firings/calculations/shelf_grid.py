"""Free places on one kiln shelf, kept as sets of grid points.

A shelf is covered with a square grid. For each footprint ("body") the points where its middle may
lie are the bits of one whole number, row by row from the front, left to right. A piece that is put
down takes from each other body the points nearer than their two outlines and the spacing allow.
That region is a rectangle with rounded corners (the Minkowski sum of the two outlines and a disc),
so each of its rows is one run of bits and every test is exact.
"""

import math

from firings.calculations.outlines import Body, Outline

# Finer grids pack better and slower; 300 columns keep 250 pieces well under two seconds.
GREATEST_COLUMNS = 300
LEAST_STEP_MM = 2
# Forbids a little less than the exact outline, so that pieces that touch do not collide.
TOUCH_MM = 1e-6


class ShelfGrid:
    """The grid of one tower's shelves, with everything that is the same for each of its layers."""

    def __init__(
        self,
        outline: Outline,
        bounds_mm: tuple[float, float, float, float],
        gap_mm: float,
    ) -> None:
        self.outline = outline
        self.bounds_mm = bounds_mm
        self.gap_mm = gap_mm
        left, front, right, back = bounds_mm
        width_mm, depth_mm = right - left, back - front
        columns_mm = max(width_mm, depth_mm)
        self.step_mm = max(LEAST_STEP_MM, math.ceil(columns_mm / GREATEST_COLUMNS))
        # An odd number of points each way keeps one on the middle.
        self.columns = 2 * math.floor(width_mm / 2 / self.step_mm) + 1
        self.rows = 2 * math.floor(depth_mm / 2 / self.step_mm) + 1
        self.left_mm = (left + right) / 2 - (self.columns // 2) * self.step_mm
        self.front_mm = (front + back) / 2 - (self.rows // 2) * self.step_mm
        # Points beyond the right edge belong to no body, so a run of bits that leaves one row
        # falls on them and never on the next row.
        self.stride = self.columns + math.ceil(gap_mm / self.step_mm) + 3
        self._starts: dict[Body, int] = {}
        self._rounds: dict[tuple[Body, Body], tuple[int, int]] = {}

    def place_mm(self, bit: int) -> tuple[float, float]:
        row, column = divmod(bit, self.stride)
        return (self.left_mm + column * self.step_mm, self.front_mm + row * self.step_mm)

    def start(self, body: Body) -> int:
        """The points where a body lies wholly within the outline."""
        if body not in self._starts:
            points = 0
            for row in range(self.rows):
                span = self.outline.row_span_mm(body, self.front_mm + row * self.step_mm)
                if span is not None:
                    points |= self._run(row, *span)
            self._starts[body] = points
        return self._starts[body]

    def _run(self, row: int, low_mm: float, high_mm: float) -> int:
        first = max(0, math.ceil((low_mm - self.left_mm) / self.step_mm))
        last = min(self.columns - 1, math.floor((high_mm - self.left_mm) / self.step_mm))
        if first > last:
            return 0
        return ((1 << (last - first + 1)) - 1) << (row * self.stride + first)

    def around(self, x_mm: float, y_mm: float, reach: Body) -> int:
        """The points strictly inside a rounded rectangle with its middle anywhere."""
        tall = reach.half_depth_mm + reach.radius_mm
        first = max(0, math.floor((y_mm - tall - self.front_mm) / self.step_mm))
        last = min(self.rows - 1, math.ceil((y_mm + tall - self.front_mm) / self.step_mm))
        points = 0
        for row in range(first, last + 1):
            half_mm = _half_width_mm(reach, self.front_mm + row * self.step_mm - y_mm)
            if half_mm > 0:
                points |= self._run(row, x_mm - half_mm, x_mm + half_mm)
        return points

    def taken(self, placed: Body, bit: int, other: Body) -> int:
        """The points that `placed`, put down at a grid point, takes from `other`."""
        round_bits, middle_bit = self._round(placed, other)
        shift = bit - middle_bit
        return round_bits << shift if shift >= 0 else round_bits >> -shift

    def _round(self, placed: Body, other: Body) -> tuple[int, int]:
        """The rounded rectangle of two bodies as bits, and the bit of its middle."""
        key = (placed, other)
        if key not in self._rounds:
            reach = joined(placed, other, self.gap_mm)
            half_rows = math.ceil((reach.half_depth_mm + reach.radius_mm) / self.step_mm)
            wide = math.ceil((reach.half_width_mm + reach.radius_mm) / self.step_mm)
            bits = 0
            for row in range(-half_rows, half_rows + 1):
                half_mm = _half_width_mm(reach, row * self.step_mm)
                half = math.floor(half_mm / self.step_mm)
                if half_mm > 0:
                    first = (row + half_rows) * self.stride + wide - half
                    bits |= ((1 << (2 * half + 1)) - 1) << first
            self._rounds[key] = (bits, half_rows * self.stride + wide)
        return self._rounds[key]


def joined(one: Body, other: Body, gap_mm: float) -> Body:
    """How near the middles of two bodies may come, as a rounded rectangle."""
    return Body(
        one.half_width_mm + other.half_width_mm,
        one.half_depth_mm + other.half_depth_mm,
        one.radius_mm + other.radius_mm + gap_mm,
    )


def _half_width_mm(reach: Body, from_middle_mm: float) -> float:
    """Half the width of a rounded rectangle in one row; 0 or less where there is none."""
    beyond = abs(from_middle_mm) - reach.half_depth_mm
    if beyond >= reach.radius_mm - TOUCH_MM:
        return 0.0
    if beyond <= 0:
        return reach.half_width_mm + reach.radius_mm - TOUCH_MM
    return reach.half_width_mm + math.sqrt(reach.radius_mm**2 - beyond**2) - TOUCH_MM


class FreePlaces:
    """What is still free on one layer, while ware is put down on it."""

    def __init__(self, grid: ShelfGrid) -> None:
        self.grid = grid
        self._placed: list[tuple[Body, int]] = []
        self._obstacles: list[tuple[float, float, Body, float]] = []
        self._free: dict[Body, tuple[int, int, int]] = {}

    @property
    def is_untouched(self) -> bool:
        return not self._placed and not self._obstacles

    def put_down(self, body: Body, bit: int) -> None:
        self._placed.append((body, bit))

    def keep_clear(self, x_mm: float, y_mm: float, body: Body, gap_mm: float) -> None:
        """Keep other ware `gap_mm` away from a body that lies anywhere."""
        self._obstacles.append((x_mm, y_mm, body, gap_mm))

    def first_free(self, body: Body) -> int | None:
        """The first free point from the front, then from the left; None when there is none."""
        if body not in self._free:
            self._free[body] = (self.grid.start(body), 0, 0)
        points, placed_seen, obstacles_seen = self._free[body]
        if points:
            for placed, bit in self._placed[placed_seen:]:
                points &= ~self.grid.taken(placed, bit, body)
            for x_mm, y_mm, other, gap_mm in self._obstacles[obstacles_seen:]:
                points &= ~self.grid.around(x_mm, y_mm, joined(other, body, gap_mm))
        self._free[body] = (points, len(self._placed), len(self._obstacles))
        return (points & -points).bit_length() - 1 if points else None
