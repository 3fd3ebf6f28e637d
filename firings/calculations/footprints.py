"""Footprints of ware on a kiln shelf, and the area a booking pays for.

A footprint is the outline of a piece seen from above, at its widest. All lengths are whole
millimetres, all areas whole square millimetres, rounded half up. The areas are those of the
circle (pi d^2 / 4) and of the rectangle (w d).
"""

import math
from dataclasses import dataclass
from fractions import Fraction

# Limits that catch a slip of the finger (a size typed in the wrong unit), not limits of the trade.
LEAST_SIZE_MM = 1
GREATEST_SIZE_MM = 2000
GREATEST_GAP_MM = 200


def check_size_mm(name: str, size_mm: int) -> None:
    """Raise ValueError naming `name` unless it is a whole number of mm from 1 to 2000."""
    if isinstance(size_mm, bool) or not isinstance(size_mm, int):
        raise ValueError(f"{name} must be a whole number of millimetres, got {size_mm!r}")
    if not LEAST_SIZE_MM <= size_mm <= GREATEST_SIZE_MM:
        raise ValueError(
            f"{name} must lie between {LEAST_SIZE_MM} and {GREATEST_SIZE_MM} mm, got {size_mm}"
        )


def check_gap_mm(name: str, gap_mm: float) -> None:
    """Raise ValueError naming `name` unless it is a spacing from 0 to 200 mm."""
    if not 0 <= gap_mm <= GREATEST_GAP_MM:
        raise ValueError(f"{name} must lie between 0 and {GREATEST_GAP_MM} mm, got {gap_mm}")


@dataclass(frozen=True, slots=True)
class Disc:
    """A round footprint."""

    diameter_mm: int

    def __post_init__(self) -> None:
        check_size_mm("diameter_mm", self.diameter_mm)


@dataclass(frozen=True, slots=True)
class Rectangle:
    """A footprint with corners; ware of any other outline is booked by its bounding rectangle."""

    width_mm: int
    depth_mm: int

    def __post_init__(self) -> None:
        check_size_mm("width_mm", self.width_mm)
        check_size_mm("depth_mm", self.depth_mm)


Footprint = Disc | Rectangle


def whole_mm2(area_mm2: float | Fraction) -> int:
    """Round an area half up to whole square millimetres."""
    return math.floor(area_mm2 + Fraction(1, 2))


def area_mm2(footprint: Footprint) -> int:
    """The area a piece stands on."""
    return charged_area_mm2(footprint, 0)


def charged_area_mm2(footprint: Footprint, gap_mm: int) -> int:
    """The area a piece is charged for: its footprint grown by half of `gap_mm` on each side.

    A disc grows to diameter + gap, a rectangle to (width + gap) x (depth + gap).
    """
    check_gap_mm("gap_mm", gap_mm)
    if isinstance(footprint, Disc):
        return whole_mm2(math.pi * (footprint.diameter_mm + gap_mm) ** 2 / 4)
    return whole_mm2((footprint.width_mm + gap_mm) * (footprint.depth_mm + gap_mm))


SHELF_FRACTIONS: dict[str, Fraction] = {
    "quarter": Fraction(1, 4),
    "half": Fraction(1, 2),
    "full": Fraction(1),
}


def fraction_area_mm2(shelf_area_mm2: int, fraction: Fraction) -> int:
    """The charged area of a booking of a quarter, half or full shelf."""
    if shelf_area_mm2 <= 0:
        raise ValueError(f"shelf_area_mm2 must be above 0, got {shelf_area_mm2}")
    if fraction not in SHELF_FRACTIONS.values():
        raise ValueError(f"fraction must be a quarter, half or full shelf, got {fraction}")
    return whole_mm2(shelf_area_mm2 * fraction)
