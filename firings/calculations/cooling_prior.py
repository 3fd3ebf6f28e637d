"""What is known of how a kiln cools: before its first firing, and from those that were closed.

A kiln's habits are a normal distribution: of the eight numbers of the network (`Habit`), and of
how far its real curve departs from the network's at each temperature (`DEPARTURE_C`). Every closed
firing moves and narrows it (`cooling_fit.learn_cooling`). Two more things are learned: how much
the load differs from firing to firing, and how far off the forecasts were against what they
claimed, which widens or narrows the next ones.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firings.calculations.cooling_model import Habit

Array = NDArray[np.float64]

DEPARTURE_C = (40.0, 70.0, 120.0, 200.0, 340.0, 560.0, 850.0, 1250.0)
HABITS = len(Habit)
SIZE = HABITS + len(DEPARTURE_C)
VERSION = 1

# Where a kiln without history starts. Wall: 76 mm of 600 to 750 kg/m3 insulating brick with about
# 774 J/(kg K) (ASTM C155 group 23 densities, ciccorp.com.my; matmake.com) and 0.11 to 0.2 W/(m K)
# lose e-fold in some 3 to 12 hours; the spread covers 64 to 114 mm. How much ware and shelves a
# litre carries, and how a lid seals: common practice, no source.
WALL_HOURS, WALL_HOURS_SPREAD = 5.5, 0.45
LOAD_KG_PER_LITRE, LOAD_SPREAD = 0.34, 0.4
WALL_J_PER_M2_K = 41_000.0
LOAD_J_PER_KG_K = 830.0
STARTS = {
    Habit.OUTER: (1.1, 0.4),
    Habit.SLOPE: (0.9, 0.25),
    Habit.EXCHANGE: (3.9, 0.5),
    Habit.LEAK: (-1.0, 0.6),
    Habit.ROOM: (0.0, 2.0),
}
HEAT_SPREAD = 0.35
DEPARTURE_SPREAD, DEPARTURE_LENGTH = 0.04, 0.8
# From one firing to the next: what differs, and by how much a kiln may have changed.
LOAD_VARIES, LOAD_VARIES_WEIGHT = 0.25, 2.0
ROOM_VARIES_C, ROOM_UNKNOWN_C = 2.0, 5.0
OTHERS_VARY = 0.015
DRIFT = 0.01
# Forecasts are checked at these temperatures of the fall, and at its beginning. How far off they
# were, in units of their claimed spread, starts at WIDTHS (set on the tests' kilns of one drawing)
# and is learned for each kiln; WIDTH_WEIGHT firings count as much as the start.
CHECKED_C = (1200.0, 600.0, 300.0, 150.0)
WIDTHS = (0.5, 0.45, 0.65, 0.85)
# A kiln without history may be of a kind that the start does not know.
WIDTHS_UNKNOWN = (0.7, 0.85, 0.7, 0.9)
WIDTH_WEIGHT = 4.0
WIDTH_MIN, WIDTH_MAX = 0.35, 3.0


@dataclass(frozen=True)
class KilnCooling:
    """A kiln's habits: mean and covariance, after `firings_count` closed firings.

    load_squares is a sum of squares of ln load about the kiln's usual. misses: for each of
    CHECKED_C the sum of squares of forecast errors in units of their plain spread, and how many.
    usual_peak_c and usual_hours describe the firings learned from, for people.
    """

    mean: Array
    spread: Array
    firings_count: int = 0
    load_squares: float = 0.0
    misses: tuple[tuple[float, int], ...] = ((0.0, 0),) * len(CHECKED_C)
    usual_peak_c: float | None = None
    usual_hours: float | None = None

    @property
    def load_varies(self) -> float:
        """The spread of ln load from one firing to the next."""
        known = LOAD_VARIES_WEIGHT * LOAD_VARIES**2 + self.load_squares
        return math.sqrt(known / (LOAD_VARIES_WEIGHT + self.firings_count))

    def widths(self, *, is_room_measured: bool, is_load_known: bool) -> tuple[float, ...]:
        """By what the plain spread of a forecast is multiplied, at each of CHECKED_C.

        is_load_known: the energy of heating tells how much is in the kiln.
        """
        starts: tuple[float, ...] = WIDTHS_UNKNOWN if self.firings_count == 0 else WIDTHS
        if not is_load_known:
            starts = (1.0, *starts[1:])
        if not is_room_measured:
            starts = (1.0,) * len(starts)
        return tuple(
            min(max(math.sqrt(squared), WIDTH_MIN), WIDTH_MAX)
            for squared in (
                (WIDTH_WEIGHT * start**2 + squares) / (WIDTH_WEIGHT + count)
                for start, (squares, count) in zip(starts, self.misses, strict=True)
            )
        )

    def width_at(self, temp_c: float, *, is_room_measured: bool, is_load_known: bool) -> float:
        """The same for a fall that has come to temp_c."""
        widths = self.widths(is_room_measured=is_room_measured, is_load_known=is_load_known)
        marks = [-math.log(checked_c) for checked_c in CHECKED_C]
        return float(np.interp(-math.log(max(temp_c, 1.0)), marks, widths))

    @property
    def wall_s(self) -> float:
        """The wall's own time constant: heat capacity times resistance."""
        return 3600 * math.exp(self.mean[Habit.TIME])

    @property
    def load_percent(self) -> int:
        """Heat of the usual ware and shelves, in per cent of what the wall holds per degree."""
        return round(100 * math.exp(self.mean[Habit.LOAD]))

    @property
    def usual_s(self) -> float | None:
        return None if self.usual_hours is None else 3600 * self.usual_hours

    def to_json(self) -> dict[str, Any]:
        """A dict that JSON can carry; the covariance as its lower triangle."""
        rows, columns = np.tril_indices(SIZE)
        return {
            "version": VERSION,
            "mean": [round(float(value), 5) for value in self.mean],
            "spread": [float(f"{value:.6g}") for value in self.spread[rows, columns]],
            "firings_count": self.firings_count,
            "load_squares": round(self.load_squares, 5),
            "misses": [[round(squares, 4), count] for squares, count in self.misses],
            "usual_peak_c": self.usual_peak_c,
            "usual_hours": self.usual_hours,
        }

    @classmethod
    def from_json(cls, values: dict[str, Any]) -> KilnCooling:
        """What `to_json` gave. Raises ValueError for another version."""
        known = dict(values)
        if known.pop("version", None) != VERSION:
            raise ValueError(f"version must be {VERSION}, not {values.get('version')!r}")
        known["misses"] = tuple((squares, count) for squares, count in known["misses"])
        rows, columns = np.tril_indices(SIZE)
        spread = np.zeros((SIZE, SIZE))
        spread[rows, columns] = spread[columns, rows] = known.pop("spread")
        return cls(mean=np.array(known.pop("mean")), spread=spread, **known)


def unknown_kiln(volume_l: float, inner_m2: float) -> KilnCooling:
    """What is thought of a kiln before its first closed firing, from the size of its chamber.

    Raises ValueError for a size that is not above 0.
    """
    for name, value in {"volume_l": volume_l, "inner_m2": inner_m2}.items():
        if not value > 0:
            raise ValueError(f"{name} must be above 0, not {value!r}")
    wall_j_per_k = WALL_J_PER_M2_K * inner_m2
    load_j_per_k = LOAD_KG_PER_LITRE * volume_l * LOAD_J_PER_KG_K
    starts = {
        **STARTS,
        Habit.TIME: (math.log(WALL_HOURS), WALL_HOURS_SPREAD),
        Habit.LOAD: (math.log(load_j_per_k / wall_j_per_k), LOAD_SPREAD),
        Habit.HEAT: (math.log(wall_j_per_k / 3600), HEAT_SPREAD),
    }
    mean, spread = np.zeros(SIZE), np.zeros((SIZE, SIZE))
    for habit, (value, error) in starts.items():
        mean[habit], spread[habit, habit] = value, error**2
    knots = np.log(np.array(DEPARTURE_C))
    apart = (knots[:, None] - knots[None, :]) / DEPARTURE_LENGTH
    spread[HABITS:, HABITS:] = DEPARTURE_SPREAD**2 * np.exp(-0.5 * apart**2)
    return KilnCooling(mean, spread)


def firing_varies(kiln: KilnCooling, *, is_room_measured: bool) -> Array:
    """Variances by which one firing's habits differ from the kiln's."""
    varies = np.full(HABITS, OTHERS_VARY**2)
    varies[Habit.LOAD] = kiln.load_varies**2
    varies[Habit.ROOM] = (ROOM_VARIES_C if is_room_measured else ROOM_UNKNOWN_C) ** 2
    varies[Habit.SLOPE] = varies[Habit.EXCHANGE] = 0.03**2
    return varies
