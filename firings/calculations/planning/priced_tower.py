"""The dearest tower of shelves that fits under the lid, when each shelf has a price by its height.

Found exactly by dynamic programming over the height used so far, one shelf after the other from
the floor. Only the lowest posts that clear a level are of interest: higher ones cost height for
nothing.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from firings.calculations.kiln_space import KilnSpace, Stack, lowest_posts

Array = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Level:
    """What a shelf can hold of each feature when pieces of `height_mm` stand under what follows.

    `top`: as the top shelf of its tower; `carrying`: with posts on it.
    """

    height_mm: int
    top: Array
    carrying: Array


class PricedTower:
    """One tower of a kiln. `levels` rise in height; each holds all that the one below holds."""

    def __init__(self, space: KilnSpace, stack: Stack, levels: Sequence[Level]) -> None:
        self.shelves = stack.shelves_count if stack.can_carry else 1
        self.top = np.array([level.top for level in levels])
        self.carrying = np.array([level.carrying for level in levels])
        thickness_mm = stack.shelf.thickness_mm
        self.steps_mm = []
        for level in levels:
            posts = lowest_posts(space, level.height_mm + space.gap_above_mm)
            self.steps_mm.append(None if posts is None else sum(posts) + thickness_mm)
        lowest = lowest_posts(space, space.lowest_post_mm)
        height_mm = space.chamber.height_mm
        self.first_mm = height_mm + 1 if lowest is None else sum(lowest) + thickness_mm
        heights = np.array([level.height_mm for level in levels])
        self.height_mm, self.clear_mm = height_mm, heights + space.gap_above_mm
        free_mm = height_mm - np.arange(height_mm + 1) - space.gap_above_mm
        # how many levels the space above a shelf clears, by the height of the shelf's surface
        self.cleared = np.searchsorted(heights, free_mm, side="right")

    def dearest(self, prices: Array) -> tuple[float, Array]:
        """The greatest worth of a tower, and what that tower can hold of each feature."""
        nothing = np.zeros(self.top.shape[1])
        height_mm = self.height_mm
        if self.first_mm > height_mm:
            return 0.0, nothing
        carrying_worth = self.carrying @ prices
        top_worth = np.concatenate([[0.0], self.top @ prices])[self.cleared]
        worth = np.full(height_mm + 1, -np.inf)
        worth[self.first_mm] = 0.0
        chosen: list[npt.NDArray[np.int64]] = []
        best, best_count, best_at = -np.inf, 0, self.first_mm
        for count in range(self.shelves):
            whole = worth + top_worth
            at = int(whole.argmax())
            if whole[at] > best:
                best, best_count, best_at = float(whole[at]), count, at
            if count + 1 < self.shelves:
                worth, choice = self._one_more(worth, carrying_worth)
                chosen.append(choice)
        held = nothing + (self.top[self.cleared[best_at] - 1] if self.cleared[best_at] else 0.0)
        at = best_at
        for choice in reversed(chosen[:best_count]):
            level = int(choice[at])
            held = held + self.carrying[level]
            at -= self.steps_mm[level] or 0
        return best, held

    def _one_more(self, worth: Array, carrying_worth: Array) -> tuple[Array, npt.NDArray[np.int64]]:
        """The greatest worth with one more shelf carried, and the level chosen for it."""
        grown = np.full_like(worth, -np.inf)
        choice = np.full(worth.size, -1, dtype=np.int64)
        for level, step_mm in enumerate(self.steps_mm):
            if step_mm is None or step_mm >= worth.size:
                continue
            offered = worth[:-step_mm] + carrying_worth[level]
            better = offered > grown[step_mm:]
            grown[step_mm:][better] = offered[better]
            choice[step_mm:][better] = level
        return grown, choice
