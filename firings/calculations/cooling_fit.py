"""A firing's fall compared with the network's: what is likely next, and what the kiln teaches.

Everything compared is a logarithm: of the hours that each stretch of fall takes, and of the
energy of heating. Around the best guess they depend on the habits nearly straight, so that
knowledge is a normal distribution throughout and is brought up to date in one step, twice
linearised (an iterated extended Kalman filter; Gelb, Applied Optimal Estimation, chapter 6).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firings.calculations.cooling_log import STRETCH_SHARE, Driven, Fall, RoomSeen
from firings.calculations.cooling_model import Habit, run_cooling
from firings.calculations.cooling_prior import (
    DEPARTURE_C,
    DRIFT,
    HABITS,
    KilnCooling,
    firing_varies,
)

Array = NDArray[np.float64]

# Errors of one firing that no habit explains, as shares of the hours of a stretch: common to all
# stretches, shared by neighbours, and of each alone. Set on the tests' kilns of one drawing,
# measured on others (tests/benchmarks/cooling.py).
COMMON_ERROR, NEIGHBOUR_ERROR, NEIGHBOUR_LENGTH, OWN_ERROR = 0.005, 0.015, 0.6, 0.01
FIRST_STRETCH_ERROR = 0.05
ENERGY_ERROR = 0.04
# One firing in which a door was left open teaches little about the rest.
MISS_MAX = 4.0
STEPS = np.array([0.05, 0.05, 0.05, 0.05, 0.1, 0.1, 0.05, 0.5])


@dataclass(frozen=True)
class Outlook:
    """The stretches still to come: from cut to cut down to the limit, as ln hours.

    temp_c: the cuts, the first where the kiln is now, the last the limit.
    """

    temp_c: Array
    mean: Array
    spread: Array
    habits: Array


@dataclass(frozen=True)
class _Compared:
    """A network's ln hours for each stretch, and how they change with each habit."""

    values: Array
    slopes: Array


def outlook(
    kiln: KilnCooling, driven: Driven, fall: Fall, room: RoomSeen, limit_c: float
) -> Outlook:
    """What is likely from the last cut of the fall down to limit_c.

    Raises ValueError when the last cut is at or below the limit, or the room is not below it.
    """
    if not room.room_c < limit_c < fall.last_c:
        raise ValueError(
            f"limit_c {limit_c!r} must lie between room_c {room.room_c!r} and {fall.last_c!r}"
        )
    cuts = cuts_to(fall.last_c, limit_c)
    levels = np.concatenate([fall.temp_c, cuts[1:]])
    seen = len(fall.temp_c) - 1
    fit = _Fit(kiln, driven, room, levels, _errors(fall, len(levels) - 1))
    taken = np.log(np.maximum(np.diff(fall.hours), 1e-3))
    mean, spread, habits = fit.conditioned(taken, seen)
    return Outlook(cuts, mean, spread, habits)


def cuts_to(start_c: float, limit_c: float) -> Array:
    """Temperatures from start to limit, each the same share of the one before."""
    count = max(1, round(np.log(limit_c / start_c) / np.log(STRETCH_SHARE)))
    return np.geomspace(start_c, limit_c, count + 1)


def _errors(fall: Fall, count: int) -> Array:
    """Shares of error of each stretch that come of reading its ends: none ahead."""
    errors = np.zeros(count)
    lengths = np.maximum(np.diff(fall.hours), 1e-3)
    seen = len(lengths)
    errors[:seen] = np.hypot(fall.errors_h[1:], fall.errors_h[:-1]) / lengths
    return np.minimum(errors, 1.0)


class _Fit:
    """One firing against one kiln's habits."""

    def __init__(
        self, kiln: KilnCooling, driven: Driven, room: RoomSeen, levels: Array, errors: Array
    ) -> None:
        self.kiln, self.driven, self.room, self.levels = kiln, driven, room, levels
        self.has_energy = driven.energy_wh is not None
        self.varies = np.diag(firing_varies(kiln, is_room_measured=room.is_measured))
        middle = np.log(np.sqrt(levels[1:] * levels[:-1]))
        self.departs = _hats(middle)
        apart = (middle[:, None] - middle[None, :]) / NEIGHBOUR_LENGTH
        noise = COMMON_ERROR**2 + NEIGHBOUR_ERROR**2 * np.exp(-0.5 * apart**2)
        own = OWN_ERROR**2 + errors**2
        own[0] += FIRST_STRETCH_ERROR**2
        noise += np.diag(own)
        self.noise = noise
        if self.has_energy:
            self.departs = np.vstack([self.departs, np.zeros(len(DEPARTURE_C))])
            self.noise = np.pad(noise, ((0, 1), (0, 1)))
            self.noise[-1, -1] = ENERGY_ERROR**2

    def compared_at(self, habits: Array) -> _Compared:
        rows = np.vstack([habits, habits + np.diag(STEPS)])
        driven = self.driven
        run = run_cooling(
            rows, driven.hours, driven.temp_c, self.room.room_c, float(self.levels[-1])
        )
        times = _crossings(run.hours, run.temp_c, self.levels)
        values = np.log(np.maximum(np.diff(times, axis=1), 1e-3))
        if self.has_energy:
            values = np.column_stack([values, np.log(np.maximum(run.heat_wh, 1.0))])
        return _Compared(values[0], (values[1:] - values[0]).T / STEPS)

    def seen_values(self, taken: Array) -> Array:
        energy_wh = self.driven.energy_wh
        return np.append(taken, np.log(energy_wh)) if energy_wh else taken

    def seen_rows(self, seen: int) -> Array:
        count = len(self.levels) - 1
        return np.array([*range(seen), *([count] if self.has_energy else [])], dtype=int)

    def linearised(self, taken: Array, seen: int, rounds: int) -> tuple[Array, Array, Array]:
        """Where to linearise, and there the expected values and their full slopes.

        Expected values are those at the kiln's mean, by the straight line.
        """
        rows, values = self.seen_rows(seen), self.seen_values(taken)
        mean = self.kiln.mean[:HABITS]
        point = mean.copy()
        for number in range(rounds):
            at = self.compared_at(point)
            slopes = np.hstack([at.slopes, self.departs])
            expected = at.values + at.slopes @ (mean - point)
            expected = expected + self.departs @ self.kiln.mean[HABITS:]
            if number == rounds - 1 or not len(rows):
                break
            spread = self.spread_of(slopes)
            own = (self.kiln.spread[:HABITS] @ slopes.T) + self.varies @ at.slopes.T
            gain = np.linalg.solve(spread[np.ix_(rows, rows)], own[:, rows].T).T
            step = mean + gain @ (values - expected[rows]) - point
            point = point + np.clip(step, -1.0, 1.0)
        return point, expected, slopes

    def spread_of(self, slopes: Array) -> Array:
        direct = slopes[:, :HABITS]
        spread: Array = slopes @ self.kiln.spread @ slopes.T + direct @ self.varies @ direct.T
        return spread + self.noise

    def conditioned(self, taken: Array, seen: int) -> tuple[Array, Array, Array]:
        """Mean and covariance of the stretches ahead, given those behind."""
        rows, values = self.seen_rows(seen), self.seen_values(taken)
        ahead = np.arange(seen, len(self.levels) - 1)
        point, expected, slopes = self.linearised(taken, seen, rounds=2)
        spread = self.spread_of(slopes)
        if not len(rows):
            return expected[ahead], spread[np.ix_(ahead, ahead)], point
        weights = np.linalg.solve(spread[np.ix_(rows, rows)], spread[np.ix_(rows, ahead)]).T
        mean = expected[ahead] + weights @ (values - expected[rows])
        rest = spread[np.ix_(ahead, ahead)] - weights @ spread[np.ix_(rows, ahead)]
        return mean, (rest + rest.T) / 2, point


def learn_cooling(
    kiln: KilnCooling, driven: Driven, fall: Fall, room: RoomSeen, misses: Sequence[float | None]
) -> KilnCooling:
    """The kiln's habits after one more firing, whose whole fall is given.

    misses: how far off forecasts were that were made of this firing with the habits as they
    were, at each of CHECKED_C, in units of their plain spread; None where there was none.
    """
    fit = _Fit(kiln, driven, room, fall.temp_c, _errors(fall, len(fall.temp_c) - 1))
    seen = len(fall.temp_c) - 1
    taken = np.log(np.maximum(np.diff(fall.hours), 1e-3))
    rows, values = fit.seen_rows(seen), fit.seen_values(taken)
    _, expected, slopes = fit.linearised(taken, seen, rounds=4)
    slopes, off = slopes[rows], values - expected[rows]
    spread = fit.spread_of(np.asarray(slopes)) if len(rows) == len(fit.noise) else None
    if spread is None:
        raise ValueError("fall must cover all of its own stretches")
    gain = np.linalg.solve(spread, slopes @ kiln.spread).T
    after = kiln.spread - gain @ slopes @ kiln.spread
    drift = np.zeros(len(after))
    drift[: Habit.ROOM] = DRIFT**2
    load = fit.varies @ slopes[:, :HABITS].T
    load_gain = np.linalg.solve(spread, load.T).T
    load_off = float((load_gain @ off)[Habit.LOAD])
    load_rest = float((fit.varies - load_gain @ load.T)[Habit.LOAD, Habit.LOAD])
    return replace(
        kiln,
        mean=kiln.mean + gain @ off,
        spread=(after + after.T) / 2 + np.diag(drift),
        firings_count=kiln.firings_count + 1,
        load_squares=kiln.load_squares + load_off**2 + load_rest,
        misses=_counted(kiln.misses, misses),
    )


def _counted(
    before: Sequence[tuple[float, int]], misses: Sequence[float | None]
) -> tuple[tuple[float, int], ...]:
    return tuple(
        (squares, count) if miss is None else (squares + min(miss**2, MISS_MAX**2), count + 1)
        for (squares, count), miss in zip(before, misses, strict=True)
    )


def _hats(middle: Array) -> Array:
    """Weights of the departures' knots at each ln temperature; they sum to 1."""
    knots = np.log(np.array(DEPARTURE_C))
    return np.column_stack([np.interp(middle, knots, row) for row in np.eye(len(knots))])


def _crossings(hours: Array, temps: Array, levels: Array) -> Array:
    """Hours at which each network (row) falls to each level; straight in ln temperature.

    The first level is where the power went off, at hour 0.
    """
    falls = np.log(np.maximum.accumulate(np.maximum(temps, 1.0)[::-1])[::-1])
    times = np.empty((temps.shape[1], len(levels)))
    marks = -np.log(levels)
    for column in range(temps.shape[1]):
        times[column] = np.interp(marks, -falls[:, column], hours)
    times[:, 0] = 0.0
    return times
