"""What pieces take of a shelf and what shelves can hold of it, counted in features.

A feature is "at least so tall, by its grown area" or "at least so tall and so broad, as one piece".
Whatever stands on one shelf takes no more of any feature than the shelf can hold of it
(`shelf_capacity` says why), and a shelf holds a feature only when it is tall enough for it.
"""

import math
from collections.abc import Sequence
from fractions import Fraction
from typing import Protocol

import numpy as np
import numpy.typing as npt

from firings.calculations.footprints import Disc, Footprint
from firings.calculations.kiln_space import KilnSpace
from firings.calculations.planning.priced_tower import Level, PricedTower
from firings.calculations.planning.shelf_capacity import ShelfCapacity, capacity_of

Array = npt.NDArray[np.float64]

# More levels make the bounds closer and slower; forty are all that most queues have.
LEVELS_AT_MOST = 40


class Sized(Protocol):
    """A piece as the bounds see it: a footprint, or a booked fraction of a shelf."""

    @property
    def footprint(self) -> Footprint | None: ...
    @property
    def height_mm(self) -> int: ...
    @property
    def fraction(self) -> Fraction | None: ...


class FeaturedKiln:
    """Pieces that may share a firing, and a kiln's towers, by their features.

    `features`: one row for each kind of piece, one column for each feature. `counts` and
    `footprints_mm2`: how many pieces are of a kind, and what one stands on.
    """

    def __init__(self, space: KilnSpace, pieces: Sequence[Sized], gap_mm: float) -> None:
        capacities = [capacity_of(space, stack, gap_mm) for stack in space.stacks]
        quarter_mm2 = min(capacity.quarter_mm2 for capacity in capacities)
        footprints = np.array([footprint_mm2(space, piece) for piece in pieces])
        heights = np.array([piece.height_mm for piece in pieces], dtype=float)
        grown = np.array([_grown_mm2(piece, gap_mm, quarter_mm2) for piece in pieces])
        inradii = np.array([_inradius_mm(piece) for piece in pieces])
        levels, breadths = _levels(heights), _levels(inradii[inradii > 0])
        is_tall = heights[:, None] >= levels[None, :]
        taken = [grown, *(_displaced(capacities, grown, inradii, float(b)) for b in breadths)]
        features = np.hstack([is_tall * column[:, None] for column in taken])
        is_used = features.sum(axis=0) > 0
        kinds, counts = np.unique(
            np.column_stack([footprints, features[:, is_used]]), axis=0, return_counts=True
        )
        self.footprints_mm2: Array = kinds[:, 0]
        self.features: Array = kinds[:, 1:]
        self.counts: Array = counts.astype(float)
        self.towers: list[PricedTower] = []
        for stack, capacity in zip(space.stacks, capacities, strict=True):
            numbers = [float(capacity.most_pieces(float(breadth))) for breadth in breadths]
            top = _by_level([capacity.top_mm2, *numbers], len(levels))[:, is_used]
            carrying = _by_level([capacity.carrying_mm2, *numbers], len(levels))[:, is_used]
            rows = [
                Level(int(height_mm), top[number], carrying[number])
                for number, height_mm in enumerate(levels)
            ]
            self.towers.append(PricedTower(space, stack, rows))

    @property
    def whole(self) -> Array:
        """How much of each feature all the pieces take."""
        return np.asarray(self.counts @ self.features)

    def dearest_firing(self, prices: Array) -> tuple[float, Array]:
        """The worth of the dearest set of towers, and how much of each feature it can hold."""
        best = [tower.dearest(prices) for tower in self.towers]
        return sum(worth for worth, _ in best), np.sum([held for _, held in best], axis=0)


def footprint_mm2(space: KilnSpace, piece: Sized) -> float:
    """What a piece stands on; a booked fraction counts as that part of the largest shelf."""
    if piece.footprint is None:
        largest = max(stack.shelf.area_mm2 for stack in space.stacks)
        return float(largest * (piece.fraction or Fraction(0)))
    if isinstance(piece.footprint, Disc):
        return math.pi * piece.footprint.diameter_mm**2 / 4
    return float(piece.footprint.width_mm * piece.footprint.depth_mm)


def _displaced(
    capacities: Sequence[ShelfCapacity], grown: Array, inradii: Array, breadth_mm: float
) -> Array:
    """How many of the discs of a breadth that a shelf could hold each piece takes the place of.

    1 for a piece that is as broad. More for one so broad that no two of its like share a shelf
    (a plate): then all that cannot stand beside it. A dual feasible function, as for bin packing.
    """
    displaced = (inradii >= breadth_mm).astype(float)
    for number, (area_mm2, broad_mm) in enumerate(zip(grown, inradii, strict=True)):
        if broad_mm >= breadth_mm and all(
            not capacity.fit_together(broad_mm, broad_mm) for capacity in capacities
        ):
            displaced[number] = min(
                capacity.most_pieces(breadth_mm)
                - capacity.most_beside(float(area_mm2), float(broad_mm), breadth_mm)
                for capacity in capacities
            )
    return displaced


def _by_level(held: Sequence[float], levels: int) -> Array:
    """Row n: what a shelf tall enough for the first n + 1 levels can hold of each feature."""
    reached = np.tril(np.ones((levels, levels)))
    return np.hstack([reached * amount for amount in held])


def _levels(values: Array) -> Array:
    """The values that occur, or some of them; the least is always there."""
    distinct = np.unique(values)
    if distinct.size <= LEVELS_AT_MOST:
        return distinct
    chosen = np.quantile(values, np.linspace(0, 1, LEVELS_AT_MOST - 1), method="lower")
    return np.unique(np.concatenate([distinct[:1], chosen]))


def _grown_mm2(piece: Sized, gap_mm: float, quarter_mm2: float) -> float:
    """The footprint grown by half the gap; corners become round."""
    if piece.footprint is None:
        return quarter_mm2 * float((piece.fraction or Fraction(0)) * 4)
    if isinstance(piece.footprint, Disc):
        return math.pi * (piece.footprint.diameter_mm + gap_mm) ** 2 / 4
    width, depth = piece.footprint.width_mm, piece.footprint.depth_mm
    return width * depth + (width + depth) * gap_mm + math.pi * gap_mm**2 / 4


def _inradius_mm(piece: Sized) -> float:
    if piece.footprint is None:
        return 0.0
    if isinstance(piece.footprint, Disc):
        return piece.footprint.diameter_mm / 2
    return min(piece.footprint.width_mm, piece.footprint.depth_mm) / 2
