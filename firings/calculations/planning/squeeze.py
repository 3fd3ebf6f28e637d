"""A whole set of footprints onto one shelf, near the limit of what is possible.

Everything is put on the shelf at once, overlapping, and let go; see `crowds`.
"""

import math
from collections.abc import Mapping, Sequence
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from firings.calculations.footprints import Disc, Footprint, check_gap_mm
from firings.calculations.kiln_space import bodies_of
from firings.calculations.load_plan import Placement
from firings.calculations.outlines import Body, Bounds, Outline, place_within
from firings.calculations.planning.crowds import NEARLY_MM2, VALID_MM, Crowds
from firings.calculations.planning.descent import Array
from firings.calculations.planning.overlaps import Row
from firings.calculations.planning.region import Region

_ROWS = 24
_STEPS_A_ROUND = 60
_RENEW_EVERY = 6


def squeeze(
    region: Region,
    pieces: Mapping[str, Footprint],
    gap_mm: float,
    *,
    seed: int,
    steps: int,
    start: Sequence[Placement] | None = None,
    in_the_way: Sequence[Row] = (),
) -> tuple[Placement, ...] | None:
    """Places for all `pieces` (id: footprint) on one shelf, or None when none were found.

    `gap_mm`: clear distance between two pieces. `steps`: how many steps downhill a batch of
    crowds may take; the same seed and steps give the same answer. `start`: where some of the
    pieces stand now. `in_the_way`: other things that stay where they are, as rows (x, y, half
    width, half depth, reach). An answer is right to 1e-6 mm. None is no proof that there is no
    way. Raises ValueError for a spacing that cannot be, and for `steps` below 1.
    """
    check_gap_mm("gap_mm", gap_mm)
    if steps < 1:
        raise ValueError(f"steps must be 1 or more, got {steps}")
    if not pieces:
        return ()
    if cannot_fit(region, pieces, gap_mm):
        return None
    who = np.tile(np.arange(len(pieces)), (_ROWS, 1))
    crowds = Crowds(region, tuple(pieces.values()), gap_mm, seed, in_the_way, who)
    ids = tuple(pieces)
    _begin(crowds, ids, start or ())
    for number in range(max(1, round(steps / _STEPS_A_ROUND))):
        heights = crowds.let_go(min(steps, _STEPS_A_ROUND))
        best = int(heights.argmin())
        freed = crowds.freed(best) if heights[best] < NEARLY_MM2 else None
        if freed is not None:
            return placements(ids, freed, crowds.is_turned[best])
        crowds.keep_better(heights, 1.02)
        if number % _RENEW_EVERY == _RENEW_EVERY - 1:
            crowds.renew()
        crowds.stir()
        crowds.take_sizes()
    return None


def placements(
    ids: Sequence[str], places: Array, is_turned: NDArray[np.bool_]
) -> tuple[Placement, ...]:
    x, y = places[: len(ids)].tolist(), places[len(ids) :].tolist()
    return tuple(
        Placement(piece_id, x[number], y[number], 90 if is_turned[number] else 0)
        for number, piece_id in enumerate(ids)
    )


def _begin(crowds: Crowds, ids: Sequence[str], start: Sequence[Placement]) -> None:
    """Two thirds of the rows as things stand now, what is new set down; the others at random."""
    standing = {put.piece_id: put for put in start}
    kept = _ROWS * 2 // 3 if any(piece_id in standing for piece_id in ids) else 0
    for seat, piece_id in enumerate(ids):
        if piece_id in standing:
            put = standing[piece_id]
            crowds.places[:kept, seat] = put.x_mm
            crowds.places[:kept, seat + crowds.seats] = put.y_mm
            crowds.is_turned[:kept, seat] = round(put.turn_deg / 90) % 2 == 1
    crowds.take_sizes()
    for seat, piece_id in enumerate(ids):
        if piece_id not in standing:
            for row in range(kept):
                crowds.set_down(row, seat)
    crowds.note_kept()


def cannot_fit(region: Region, pieces: Mapping[str, Footprint], gap_mm: float) -> bool:
    """Whether a set certainly does not fit, without looking for a way.

    Pieces and shelf grown by half the spacing: the areas of what must not overlap cannot sum to
    more than the shelf (a convex outline grows by its length times the border, Steiner). And each
    piece must fit alone, the two widest discs side by side.
    """
    half = gap_mm / 2
    taken = sum(_grown_area_mm2(footprint, half) for footprint in pieces.values())
    if taken > _grown_shelf_mm2(region, half) - _posts_mm2(region, half):
        return True
    if region.outline.circles:
        widest = 2 * min(circle.radius_mm for circle in region.outline.circles)
        narrow = sorted((_inner_mm(footprint) for footprint in pieces.values()), reverse=True)
        if sum(narrow[:2]) * 2 + gap_mm * (len(narrow) > 1) > widest + VALID_MM:
            return True
    return not all(
        _fits_alone(region.outline, footprint, region.bounds_mm)
        for footprint in set(pieces.values())
    )


def _inner_mm(footprint: Footprint) -> float:
    if isinstance(footprint, Disc):
        return footprint.diameter_mm / 2
    return min(footprint.width_mm, footprint.depth_mm) / 2


def _grown_area_mm2(footprint: Footprint, border: float) -> float:
    if isinstance(footprint, Disc):
        return math.pi * (footprint.diameter_mm / 2 + border) ** 2
    width, depth = footprint.width_mm, footprint.depth_mm
    return width * depth + 2 * border * (width + depth) + math.pi * border**2


@lru_cache(maxsize=256)
def _grown_shelf_mm2(region: Region, border: float) -> float:
    left, front, right, back = region.bounds_mm
    around = 2 * (right - left + back - front)
    areas = [region.area_mm2 + 0.5 + border * around + math.pi * border**2]
    areas += [math.pi * (c.radius_mm + border) ** 2 for c in region.outline.circles]
    return min(areas)


@lru_cache(maxsize=256)
def _posts_mm2(region: Region, border: float) -> float:
    """The area of the posts that stand wholly on the shelf, each less the border."""
    total = 0.0
    for post in region.posts:
        reach = post.radius_mm - border
        body = Body(0.0, 0.0, max(reach, 0.0))
        if reach > 0 and region.outline.overhang_mm(body, post.x_mm, post.y_mm) <= border:
            total += math.pi * reach**2
    return total


@lru_cache(maxsize=4096)
def _fits_alone(outline: Outline, footprint: Footprint, bounds_mm: Bounds) -> bool:
    return any(
        place_within(outline, body, bounds_mm) is not None for body, _ in bodies_of(footprint)
    )
