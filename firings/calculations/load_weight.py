"""What a load weighs, estimated from outlines and heights: ware as shells of clay, shelves, posts.

A pot is taken as a floor and a wall of one thickness around its footprint, open on top. The rule of
thickness is ours: 4 % of the larger of width and height, from 5 mm up (common practice, no source).
Lengths in mm, areas in mm2, masses in kg.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from firings.calculations.footprints import Disc, Footprint, area_mm2, check_size_mm

WALL_SHARE = 0.04
WALL_MM_MIN = 5.0
# Dry or bisqued clay with its pores: from memory.
WARE_KG_PER_M3 = 1800.0
# Handles, feet, thick and thin hands: the weight of a load is known to this share either way. Ours.
WARE_SHARE_EITHER_WAY = 0.35
WEIGHED_SHARE_EITHER_WAY = 0.03
# Shelf space that was booked by the shelf: discs like mugs over this part of it. Ours.
FRACTION_IS_COVERED = 0.6
MUG_MM = 90
# Bulk density of cordierite shelves is 1.8 to 2.4 g/cm3 (a refractory maker's table of properties).
SHELF_KG_PER_M3 = 2100.0
SHELF_SHARE_EITHER_WAY = 300 / 2100
# Posts are solid or hollow: half of the square prism is there, give or take half of that. Ours.
POST_IS_SOLID = 0.6
POST_SHARE_EITHER_WAY = 0.5

MM3_PER_M3 = 1e9


@dataclass(frozen=True)
class StandingPiece:
    """A pot of the load; `footprint` is None for a `fraction` of a shelf of `shelf_mm2`."""

    footprint: Footprint | None
    height_mm: int
    fraction: Fraction | None = None
    shelf_mm2: int = 0


@dataclass(frozen=True)
class StandingShelf:
    """A shelf of the load with the posts under it: each place carries all of `posts_mm`."""

    area_mm2: int
    thickness_mm: int
    posts_mm: tuple[int, ...]
    post_places_count: int
    post_width_mm: int


@dataclass(frozen=True)
class Weight:
    """A mass in kg and the bound of its error either way."""

    kg: float
    either_way_kg: float


def ware_weight(pieces: Sequence[StandingPiece]) -> Weight:
    """Return the estimated weight of all ware. Raises ValueError for sizes that cannot be."""
    kg = sum(_piece_mm3(piece) for piece in pieces) / MM3_PER_M3 * WARE_KG_PER_M3
    return Weight(kg, kg * WARE_SHARE_EITHER_WAY)


def weighed(load_kg: float) -> Weight:
    """Return what scales said, good to a few per cent. Raises ValueError unless above 0."""
    if not (load_kg > 0 and math.isfinite(load_kg)):
        raise ValueError(f"load_kg must be above 0, not {load_kg!r}")
    return Weight(load_kg, load_kg * WEIGHED_SHARE_EITHER_WAY)


def furniture_weight(shelves: Sequence[StandingShelf]) -> Weight:
    """Return the estimated weight of shelves and posts."""
    shelves_kg = posts_kg = 0.0
    for one in shelves:
        shelves_kg += one.area_mm2 * one.thickness_mm / MM3_PER_M3 * SHELF_KG_PER_M3
        prism_mm3 = sum(one.posts_mm) * one.post_width_mm**2 * one.post_places_count
        posts_kg += POST_IS_SOLID * prism_mm3 / MM3_PER_M3 * SHELF_KG_PER_M3
    either_way_kg = math.hypot(
        shelves_kg * SHELF_SHARE_EITHER_WAY, posts_kg * POST_SHARE_EITHER_WAY
    )
    return Weight(shelves_kg + posts_kg, either_way_kg)


def wall_mm(widest_mm: float, height_mm: float) -> float:
    """The rule of thickness: 4 % of the larger of width and height, 5 mm at least."""
    return max(WALL_MM_MIN, WALL_SHARE * max(widest_mm, height_mm))


def _piece_mm3(piece: StandingPiece) -> float:
    check_size_mm("height_mm", piece.height_mm)
    if piece.footprint is not None:
        return _shell_mm3(piece.footprint, piece.height_mm)
    covered_mm2 = FRACTION_IS_COVERED * piece.shelf_mm2 * float(piece.fraction or 0)
    mug = Disc(MUG_MM)
    return covered_mm2 / area_mm2(mug) * _shell_mm3(mug, piece.height_mm)


def _shell_mm3(footprint: Footprint, height_mm: int) -> float:
    """Floor and wall, never more than the solid block."""
    if isinstance(footprint, Disc):
        around_mm, widest_mm = math.pi * footprint.diameter_mm, footprint.diameter_mm
    else:
        around_mm = 2.0 * (footprint.width_mm + footprint.depth_mm)
        widest_mm = max(footprint.width_mm, footprint.depth_mm)
    thick_mm = wall_mm(widest_mm, height_mm)
    floor_mm2 = area_mm2(footprint)
    shell_mm3 = floor_mm2 * thick_mm + around_mm * thick_mm * max(0.0, height_mm - thick_mm)
    return min(shell_mm3, float(floor_mm2 * height_mm))
