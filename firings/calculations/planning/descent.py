"""Downhill in many hollows at once: the method of Liu and Nocedal on a whole batch of starts.

One start of a small packing keeps numpy busy for microseconds and waiting for as long; thirty
starts side by side cost hardly more than one. Each row of the batch keeps its own step and its own
memory. Source: D. C. Liu, J. Nocedal, "On the limited memory BFGS method for large scale
optimization", Mathematical Programming 45 (1989) 503-528 (two-loop recursion, from memory).
"""

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Measure = Callable[[Array], tuple[Array, Array]]

_MEMORY = 6
# A step is taken when it brings this share of what the slope promises (Armijo's rule).
_SHARE = 1e-4
# Every so many steps a look back, to see whether any row still gets lower.
_LOOK_BACK = 12


class _Memory:
    """The last moves and what they did to the slope, to guess how the valley bends."""

    def __init__(self, rows: int, width: int) -> None:
        self.moves = np.zeros((_MEMORY, rows, width))
        self.bends = np.zeros((_MEMORY, rows, width))
        self.rates = np.zeros((_MEMORY, rows))
        self.scale = np.zeros(rows)
        self.used = 0

    def remember(self, move: Array, bend: Array, is_taken: NDArray[np.bool_]) -> None:
        slot = self.used % _MEMORY
        curve = np.einsum("ij,ij->i", move, bend)
        bend2 = np.einsum("ij,ij->i", bend, bend)
        is_good = is_taken & (curve > 1e-10 * bend2) & (bend2 > 0)
        safe = np.where(is_good, curve, 1.0)
        self.moves[slot], self.bends[slot] = move, bend
        self.rates[slot] = np.where(is_good, 1.0 / safe, 0.0)
        self.scale = np.where(is_good, safe / np.where(is_good, bend2, 1.0), self.scale)
        self.used += 1

    def direction(self, slope: Array) -> Array:
        """Minus the slope, bent by what is remembered."""
        order = [(self.used - 1 - k) % _MEMORY for k in range(min(self.used, _MEMORY))]
        way = slope.copy()
        shares = []
        for slot in order:
            share = self.rates[slot] * np.einsum("ij,ij->i", self.moves[slot], way)
            way -= share[:, None] * self.bends[slot]
            shares.append(share)
        way *= np.where(self.scale > 0, self.scale, 0.25)[:, None]
        for slot, share in zip(reversed(order), reversed(shares), strict=True):
            back = self.rates[slot] * np.einsum("ij,ij->i", self.bends[slot], way)
            way += (share - back)[:, None] * self.moves[slot]
        return -way


def descend(
    measure: Measure, start: Array, steps: int, *, enough: float, is_one_enough: bool, stuck: float
) -> tuple[Array, Array]:
    """The batch after at most `steps` steps, and the height of each row.

    `measure(batch)` gives heights (rows) and slopes (rows, width). A row at or below `enough` is
    done; with `is_one_enough` the first such row ends the descent, else all must get there. A batch
    in which no row gets lower by the share `stuck` in a dozen steps is given up.
    """
    here = start.copy()
    height, slope = measure(here)
    memory = _Memory(*here.shape)
    way = memory.direction(slope)
    length = np.ones(len(here))
    before = height
    for step in range(steps):
        done = height <= enough
        if done.any() if is_one_enough else done.all():
            break
        if step % _LOOK_BACK == _LOOK_BACK - 1:
            if not ((height < (1 - stuck) * before) & ~done).any():
                break
            before = height
        downhill = np.einsum("ij,ij->i", way, slope)
        is_lost = downhill >= 0
        if is_lost.any():
            way[is_lost] = -0.25 * slope[is_lost]
            downhill = np.where(is_lost, np.einsum("ij,ij->i", way, slope), downhill)
        move = length[:, None] * way
        new_height, new_slope = measure(here + move)
        is_taken = (new_height <= height + _SHARE * length * downhill) & ~done
        taken = is_taken[:, None]
        memory.remember(move, new_slope - slope, is_taken)
        rise = new_height - height - length * downhill
        shorter = -downhill * length * length / (2 * np.maximum(rise, 1e-300))
        here = np.where(taken, here + move, here)
        height = np.where(is_taken, new_height, height)
        slope = np.where(taken, new_slope, slope)
        way = np.where(taken, memory.direction(slope), way)
        length = np.where(is_taken, 1.0, np.clip(shorter, 0.1 * length, 0.5 * length))
    return here, height
