"""The outlines of a kiln's parts: the chamber and the shelves, and where posts stand on a shelf.

All lengths are mm. Seen from above, the middle of the chamber is (0, 0), x goes right, y goes back.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

from firings.calculations.footprints import check_size_mm, whole_mm2
from firings.calculations.outlines import (
    Bounds,
    Outline,
    half_round_outline,
    octagon_outline,
    rectangle_outline,
    round_outline,
)

ChamberShape = Literal["round", "octagon", "rectangle"]
ShelfShape = Literal["round", "half_round", "octagon", "rectangle"]
Side = Literal["left", "right"]

# Room between a post and the edge of its shelf, so that it cannot slip off. Common practice, no
# source.
POST_MARGIN_MM = 3.0

_SIZES_OF_SHAPE = {
    "round": ("diameter_mm",),
    "half_round": ("diameter_mm",),
    "octagon": ("across_flats_mm",),
    "rectangle": ("width_mm", "depth_mm"),
}


def _check_sizes(record: "Chamber | Shelf", shapes: tuple[str, ...]) -> None:
    if record.shape not in shapes:
        raise ValueError(f"shape must be one of {', '.join(shapes)}, got {record.shape!r}")
    for name in _SIZES_OF_SHAPE[record.shape]:
        size_mm = getattr(record, name)
        if size_mm is None:
            raise ValueError(f"{name} is needed for the shape {record.shape}")
        check_size_mm(name, size_mm)


@dataclass(frozen=True, slots=True)
class Chamber:
    """The inside of a kiln: round, octagon (flats face right, back, left, front) or rectangle."""

    shape: ChamberShape
    height_mm: int
    diameter_mm: int | None = None
    across_flats_mm: int | None = None
    width_mm: int | None = None
    depth_mm: int | None = None

    def __post_init__(self) -> None:
        _check_sizes(self, ("round", "octagon", "rectangle"))
        check_size_mm("height_mm", self.height_mm)

    @property
    def outline(self) -> Outline:
        if self.shape == "round":
            return round_outline(self.diameter_mm or 0)
        if self.shape == "octagon":
            return octagon_outline(self.across_flats_mm or 0)
        return rectangle_outline(self.width_mm or 0, self.depth_mm or 0)


@dataclass(frozen=True, slots=True)
class Shelf:
    """A kiln shelf.

    A half-round shelf is the part of a disc of `diameter_mm` on its `side`: x >= `cut_at_mm` on
    the right, x <= `cut_at_mm` on the left. Only a rectangle may lie off the middle (`centre_mm`).
    """

    shape: ShelfShape
    thickness_mm: int
    diameter_mm: int | None = None
    across_flats_mm: int | None = None
    width_mm: int | None = None
    depth_mm: int | None = None
    centre_mm: tuple[float, float] = (0.0, 0.0)
    side: Side | None = None
    cut_at_mm: float = 0.0

    def __post_init__(self) -> None:
        _check_sizes(self, ("round", "half_round", "octagon", "rectangle"))
        check_size_mm("thickness_mm", self.thickness_mm)
        if self.shape == "half_round":
            if self.side not in ("left", "right"):
                raise ValueError(f"side must be left or right for a half shelf, got {self.side!r}")
            if abs(self.cut_at_mm) >= self._radius_mm:
                raise ValueError(f"cut_at_mm must lie on the disc, got {self.cut_at_mm}")

    @property
    def _radius_mm(self) -> float:
        return (self.diameter_mm or self.across_flats_mm or 0) / 2

    @property
    def _is_right(self) -> bool:
        return self.side == "right"

    @property
    def _cut_outward_mm(self) -> float:
        """From the middle of the kiln to the cut, counted towards this half."""
        return self.cut_at_mm if self._is_right else -self.cut_at_mm

    @property
    def outline(self) -> Outline:
        if self.shape == "round":
            return round_outline(self.diameter_mm or 0)
        if self.shape == "octagon":
            return octagon_outline(self.across_flats_mm or 0)
        if self.shape == "rectangle":
            return rectangle_outline(self.width_mm or 0, self.depth_mm or 0, self.centre_mm)
        return half_round_outline(self.diameter_mm or 0, self._is_right, self.cut_at_mm)

    @property
    def bounds_mm(self) -> Bounds:
        """Left, front, right and back of the shelf."""
        if self.shape == "rectangle":
            (x_mm, y_mm), width, depth = self.centre_mm, self.width_mm or 0, self.depth_mm or 0
            return (x_mm - width / 2, y_mm - depth / 2, x_mm + width / 2, y_mm + depth / 2)
        radius = self._radius_mm
        if self.shape != "half_round":
            return (-radius, -radius, radius, radius)
        cut = self._cut_outward_mm
        reach = math.sqrt(radius**2 - cut**2) if cut > 0 else radius
        if self._is_right:
            return (self.cut_at_mm, -reach, radius, reach)
        return (-radius, -reach, self.cut_at_mm, reach)

    @property
    def area_mm2(self) -> int:
        """Rounded half up. Octagon: 8 r^2 tan(pi/8); half round: the circular segment."""
        radius = self._radius_mm
        if self.shape == "round":
            return whole_mm2(math.pi * radius**2)
        if self.shape == "octagon":
            return whole_mm2(8 * radius**2 * math.tan(math.pi / 8))
        if self.shape == "rectangle":
            return (self.width_mm or 0) * (self.depth_mm or 0)
        return whole_mm2(_segment_area_mm2(radius, self._cut_outward_mm))

    @property
    def quarter_lines_mm(self) -> tuple[float, float]:
        """The x and y of the two lines that cut the shelf into four equal quarters."""
        left, front, right, back = self.bounds_mm
        if self.shape != "half_round":
            return ((left + right) / 2, (front + back) / 2)
        x_mm = _halving_cut_mm(self._radius_mm, self._cut_outward_mm)
        return (x_mm if self._is_right else -x_mm, 0.0)


def _segment_area_mm2(radius_mm: float, cut_mm: float) -> float:
    """The part of a disc beyond a straight cut at a distance from its middle."""
    chord = math.sqrt(radius_mm**2 - cut_mm**2)
    return radius_mm**2 * math.acos(cut_mm / radius_mm) - cut_mm * chord


@lru_cache(maxsize=64)
def _halving_cut_mm(radius_mm: float, cut_mm: float) -> float:
    """Where a second cut halves the part of a disc beyond the first one."""
    half_mm2 = _segment_area_mm2(radius_mm, cut_mm) / 2
    low, high = cut_mm, radius_mm
    for _ in range(60):
        middle = (low + high) / 2
        if _segment_area_mm2(radius_mm, middle) > half_mm2:
            low = middle
        else:
            high = middle
    return (low + high) / 2


Place = tuple[float, float]


def suggested_post_places(shelf: Shelf, post_width_mm: int = 38) -> tuple[Place, ...]:
    """Where posts stand when the studio has not said: three for round shelves, four for others.

    Round and eight-sided: at the edge, a third of a turn apart, the first at the back. Half round:
    two by the cut and one at the rim. Rectangle: near the corners. Rounded to 0.1 mm.
    """
    inset = post_width_mm / 2 + POST_MARGIN_MM
    left, front, right, back = shelf.bounds_mm
    if shelf.shape == "rectangle":
        corners = ((left, front), (right, front), (right, back), (left, back))
        steps = ((1, 1), (-1, 1), (-1, -1), (1, -1))
        places = [
            (x + inset * step_x, y + inset * step_y)
            for (x, y), (step_x, step_y) in zip(corners, steps, strict=True)
        ]
    elif shelf.shape == "half_round":
        inward = 1 if shelf.side == "right" else -1
        rim = (right if shelf.side == "right" else -left) - inset
        by_cut = shelf.cut_at_mm + inward * inset
        reach = math.sqrt(max(rim**2 - by_cut**2, 0.0))
        places = [(by_cut, reach), (by_cut, -reach), (inward * rim, 0.0)]
    else:
        rim = right - inset
        turns = [math.radians(turn) for turn in (90, 210, 330)]
        places = [(rim * math.cos(turn), rim * math.sin(turn)) for turn in turns]
    return tuple((round(x, 1) + 0.0, round(y, 1) + 0.0) for x, y in places)
