"""The smallest round shelf for a set of discs.

Discs and the radius around them move together: downhill on the squared overlaps plus a pull on the
radius that is let off step by step, which ends where nothing can be pressed further together.
Places are then spread until no two discs overlap, so every radius given back is one that exists.
A batch of crowds goes side by side; from round to round a disc of each is lifted out and set down
in a hole, and the change is kept when the radius shrinks (monotonic basin hopping: A. Grosso,
A. Jamali, M. Locatelli, F. Schoen, Journal of Global Optimization 47 (2010) 63-81, from memory).
"""

import math
from collections.abc import Sequence

import numpy as np

from firings.calculations.planning.descent import Array, descend

_ROWS = 32
_PULLS = (0.1, 0.01, 1e-3, 1e-4)
_LAST_PULLS = (1e-4, 1e-5, 1e-6, 1e-7)
_STEPS_A_PULL = 40
_PLACES_TRIED = 100


def smallest_radius(
    radii: Sequence[float], *, seed: int, steps: int
) -> tuple[float, tuple[tuple[float, float], ...]]:
    """The least radius found of a circle that holds discs of these radii, and their middles.

    The circle's middle is (0, 0); any unit of length. `steps`: steps downhill of the whole batch;
    the same seed and steps give the same answer. The middles are such that no two discs overlap
    and none sticks out, to within floating point. Raises ValueError for no discs or a radius that
    is not above 0, and for `steps` below 1.
    """
    if not radii or min(radii) <= 0 or not math.isfinite(max(radii)):
        raise ValueError(f"radii must be one or more lengths above 0, got {list(radii)!r}")
    if steps < 1:
        raise ValueError(f"steps must be 1 or more, got {steps}")
    # In units of the disc that has the area of all of them, the answer lies a little above 1.
    unit = math.sqrt(math.fsum(radius * radius for radius in radii))
    ring = _Ring(np.array(radii) / unit, seed)
    places = ring.hop(steps)
    radius, places = ring.spread(ring.pressed(places, _LAST_PULLS, 6 * _STEPS_A_PULL))
    best = int(radius.argmin())
    x, y = places[best, : len(radii)] * unit, places[best, len(radii) : -1] * unit
    return float(radius[best] * unit), tuple(zip(x.tolist(), y.tolist(), strict=True))


class _Ring:
    """A batch of crowds of discs; a row is all x, all y, and the radius around them."""

    def __init__(self, radii: Array, seed: int) -> None:
        self.radii = radii
        self.count = len(radii)
        self.random = np.random.default_rng(seed)
        first, second = np.triu_indices(self.count, 1)
        self.first, self.second = first, second
        self.reach = radii[first] + radii[second]
        self.sign = np.zeros((len(first), self.count))
        self.sign[np.arange(len(first)), first] = 1
        self.sign[np.arange(len(first)), second] = -1
        self.sign_t = np.ascontiguousarray(self.sign.T)

    def measure(self, batch: Array, pull: float) -> tuple[Array, Array]:
        count = self.count
        x, y, around = batch[:, :count], batch[:, count:-1], batch[:, -1]
        dx, dy = x @ self.sign_t, y @ self.sign_t
        apart = np.sqrt(dx * dx + dy * dy)
        lack = np.maximum(self.reach - apart, 0)
        share = lack / np.maximum(apart, 1e-12)
        away = np.sqrt(x * x + y * y)
        over = np.maximum(away + self.radii - around[:, None], 0)
        back = over / np.maximum(away, 1e-12)
        height = np.einsum("ij,ij->i", lack, lack) + np.einsum("ij,ij->i", over, over)
        slope = np.empty_like(batch)
        slope[:, :count] = 2 * (back * x - (share * dx) @ self.sign)
        slope[:, count:-1] = 2 * (back * y - (share * dy) @ self.sign)
        slope[:, -1] = pull - 2 * over.sum(axis=1)
        return height + pull * around, slope

    def pressed(self, places: Array, pulls: Sequence[float], steps: int) -> Array:
        for pull in pulls:
            places, _ = descend(
                lambda batch, pull=pull: self.measure(batch, pull),
                places,
                steps,
                enough=-math.inf,
                is_one_enough=False,
                stuck=1e-8,
            )
        return places

    def spread(self, places: Array) -> tuple[Array, Array]:
        """Each row spread until no two discs overlap, and the radius around it then."""
        x, y = places[:, : self.count], places[:, self.count : -1]
        apart = np.hypot(x @ self.sign_t, y @ self.sign_t)
        growth = (self.reach / np.maximum(apart, 1e-9)).max(axis=1, initial=0)
        if self.count == 1:
            growth = np.zeros(len(places))
        around = (growth[:, None] * np.hypot(x, y) + self.radii).max(axis=1)
        grown = places * growth[:, None]
        grown[:, -1] = around
        return around, grown

    def hop(self, steps: int) -> Array:
        """The batch after rounds of lifting a disc out and setting it down in a hole."""
        count = self.count
        places = self.random.uniform(-1, 1, (_ROWS, 2 * count + 1))
        places[:, -1] = 1.2
        best, best_places = np.full(_ROWS, math.inf), places
        for number in range(max(1, round(steps / (_STEPS_A_PULL * len(_PULLS))))):
            pressed = self.pressed(places, _PULLS, _STEPS_A_PULL)
            around, _ = self.spread(pressed)
            is_better = around < best - 1e-9
            best = np.where(is_better, around, best)
            best_places = np.where(is_better[:, None], pressed, best_places)
            if number % 8 == 7:
                order = np.argsort(best, kind="stable")
                share = _ROWS // 4
                best[order[-share:]] = best[order[:share]]
                best_places[order[-share:]] = best_places[order[:share]]
            places = best_places.copy()
            for row in range(_ROWS):
                self._stir(places[row])
        return best_places

    def _stir(self, row: Array) -> None:
        """A disc set down in a hole, or two of different size swapped."""
        count = self.count
        piece = int(self.random.integers(count))
        other = int(self.random.integers(count))
        if self.radii[other] != self.radii[piece] and self.random.random() < 0.5:
            for one, two in ((piece, other), (piece + count, other + count)):
                row[one], row[two] = row[two], row[one]
            return
        free = max(row[-1] - self.radii[piece], 0.0)
        turn = self.random.uniform(0, 2 * math.pi, _PLACES_TRIED)
        far = free * np.sqrt(self.random.random(_PLACES_TRIED))
        x, y = far * np.cos(turn), far * np.sin(turn)
        apart = np.hypot(x[:, None] - row[:count], y[:, None] - row[count:-1])
        apart[:, piece] = math.inf
        room = (apart - self.radii).min(axis=1)
        place = int(room.argmax())
        row[piece], row[piece + count] = x[place], y[place]
