"""A small network of heat stores that cools as a brick kiln does: fast while hot, slow at the end.

Ware with its shelves, the chamber, and the wall in four cells stand in a row; the room is at the
end of it, and a little leaks from the chamber past the wall. Chamber and its neighbours exchange
heat by radiation and some convection, so their link grows with the cube of the absolute
temperature; so does the link from the outer surface to the room. Brick conducts better hot.

Only ratios can be told from temperatures, so heat is counted in the wall's own heat capacity and
conductance in that of the wall. Times are hours, temperatures C. Many networks run side by side:
every row of `habits` is one. Physics: Lienhard & Lienhard, A Heat Transfer Textbook, chapters 1
to 3 (lumped stores, conduction in series, radiation linearised about a mean temperature).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

STEFAN_BOLTZMANN_W_PER_M2_K4 = 5.670374419e-8  # CODATA 2018
KELVIN_AT_0_C = 273.15
WALL_CELLS = 4
# Fireclay holds some 1.2 times as much per degree at 1000 C: from memory.
HEAT_RISE_PER_C = 0.2 / 1000
# Elements and the skin of the brick, in heat capacities of the wall; they follow at once.
CHAMBER_STORE = 0.04
# Exchange in the chamber and at the outside, as in a room with still air; both are scaled by
# what is learned, only their rise with temperature matters.
CHAMBER_CONVECTION_W_PER_M2_K, CHAMBER_EMISSIVITY, CHAMBER_AT_C = 8.0, 0.7, 600.0
OUTER_CONVECTION_W_PER_M2_K, OUTER_EMISSIVITY, OUTER_AT_C = 5.0, 0.5, 60.0
WALL_AT_C = 500.0
# Steps grow with the time since the power went off.
FIRST_STEP_H, STEP_GROWTH, STEP_H_MAX = 0.05, 0.035, 1.5
HORIZON_H = 240.0


class Habit(IntEnum):
    """What is learned of a kiln: a column of `habits`. `ln` is the natural logarithm.

    TIME: ln hours, heat capacity of the wall times its resistance. LOAD: ln heat capacity of
    ware and shelves in that of the wall. OUTER: ln conductance of the outer surface in that of
    the wall. SLOPE: how much more the brick conducts 1000 C hotter. EXCHANGE: ln conductance
    between chamber and wall at 600 C. LEAK: ln conductance past the wall. HEAT: ln heat capacity
    of the wall in Wh/K. ROOM: C by which the air at the kiln differs from the room as given.
    """

    TIME = 0
    LOAD = 1
    OUTER = 2
    SLOPE = 3
    EXCHANGE = 4
    LEAK = 5
    HEAT = 6
    ROOM = 7


@dataclass(frozen=True)
class CoolingRun:
    """Temperatures of the chamber (time, network) at `hours` since the power went off.

    `heat_wh` is the electricity that each network took while it was driven.
    """

    hours: Array
    temp_c: Array
    heat_wh: Array


def run_cooling(
    habits: Array, path_hours: Array, path_c: Array, room_c: float, until_c: float
) -> CoolingRun:
    """Drive the chambers along a measured path, then let them cool to `until_c`.

    habits: one row for each network, columns as in `Habit`. path_hours rise; the last is when
    the power went off. Raises ValueError for a path of less than two points.
    """
    if len(path_hours) < 2:
        raise ValueError(f"path_hours must have two points at least, not {len(path_hours)}")
    network = _Network(habits, room_c, float(path_c[0]))
    for step_h, temp_c in zip(np.diff(path_hours), path_c[1:], strict=True):
        network.drive(float(step_h), float(temp_c))
    hours, temps = [0.0], [network.chamber_c.copy()]
    floor_c = np.maximum(until_c, network.room_c + 0.2)
    while hours[-1] < HORIZON_H and (temps[-1] > floor_c).any():
        step_h = min(FIRST_STEP_H + STEP_GROWTH * hours[-1], STEP_H_MAX)
        network.cool(step_h)
        hours.append(hours[-1] + step_h)
        temps.append(network.chamber_c.copy())
    return CoolingRun(np.array(hours), np.array(temps), network.heat_wh)


class _Network:
    """The state of all networks: load, chamber, wall cells; arrays of one value for each."""

    def __init__(self, habits: Array, room_c: float, start_c: float) -> None:
        self.per_hour = np.exp(-habits[:, Habit.TIME])
        self.load = np.exp(habits[:, Habit.LOAD])
        self.outer = np.exp(habits[:, Habit.OUTER]) * self.per_hour
        self.slope = habits[:, Habit.SLOPE] / 1000
        self.exchange = np.exp(habits[:, Habit.EXCHANGE]) * self.per_hour
        self.leak = np.exp(habits[:, Habit.LEAK]) * self.per_hour
        self.wall_wh_per_k = np.exp(habits[:, Habit.HEAT])
        self.room_c = room_c + habits[:, Habit.ROOM]
        count = len(habits)
        self.chamber_c = np.full(count, start_c)
        self.load_c = np.full(count, start_c)
        self.wall_c = (
            self.room_c + (start_c - self.room_c) * np.linspace(0.9, 0.3, WALL_CELLS)[:, None]
        )
        self.heat_wh = np.zeros(count)

    def drive(self, step_h: float, temp_c: float) -> None:
        """Elements hold the chamber where it was measured; count what they give."""
        factors, constants, to_load, load_store, links = self._eliminated(step_h)
        before_c = self.chamber_c
        self.chamber_c = np.full_like(before_c, temp_c)
        load_c, wall_c = self.load_c, self.wall_c[0]
        self._follow(factors, constants, to_load, load_store)
        flow = to_load * (self.chamber_c - load_c) + links * (
            self.chamber_c - (wall_c + self.wall_c[0]) / 2
        )
        flow += self.leak * (self.chamber_c - self.room_c)
        stored = CHAMBER_STORE * (self.chamber_c - before_c)
        self.heat_wh += self.wall_wh_per_k * (flow * step_h + stored)

    def cool(self, step_h: float) -> None:
        factors, constants, to_load, load_store, links = self._eliminated(step_h)
        store = CHAMBER_STORE / step_h
        weight = store + self.leak + to_load + links * (1 - factors[0])
        known = store * self.chamber_c + self.leak * self.room_c
        known += to_load * self.load_c + links * constants[0]
        self.chamber_c = known / weight
        self._follow(factors, constants, to_load, load_store)

    def _follow(self, factors: Array, constants: Array, to_load: Array, load_store: Array) -> None:
        self.load_c = self.load_c + to_load * (self.chamber_c - self.load_c) / load_store
        inner_c = self.chamber_c
        for index in range(WALL_CELLS):
            inner_c = self.wall_c[index] = factors[index] * inner_c + constants[index]

    def _eliminated(self, step_h: float) -> tuple[Array, Array, Array, Array, Array]:
        """Write each wall cell's next temperature as factor x (inner neighbour) + constant.

        The scheme is implicit in time. Also the link from chamber to load, with the load's own
        lag in it, the load's store for a step, and the link from chamber to wall.
        """
        conducts = WALL_CELLS * (1 + self.slope * (self.wall_c - WALL_AT_C))
        conducts = np.maximum(conducts, 0.2 * WALL_CELLS) * self.per_hour
        exchange = self.exchange * _chamber_exchange(self.chamber_c)
        inward = 1 / (1 / exchange + 0.5 / conducts[0])
        outer = self.outer * _outer_exchange(self.wall_c[-1], self.room_c)
        between = 2 * conducts[:-1] * conducts[1:] / (conducts[:-1] + conducts[1:])
        stores = (1 + HEAT_RISE_PER_C * self.wall_c) / (WALL_CELLS * step_h)
        factors, constants = np.empty_like(self.wall_c), np.empty_like(self.wall_c)
        outward = 1 / (1 / outer + 0.5 / conducts[-1])
        factor, constant = np.zeros_like(self.room_c), self.room_c
        for index in range(WALL_CELLS - 1, -1, -1):
            link = between[index - 1] if index else inward
            weight = stores[index] + link + outward * (1 - factor)
            factors[index] = factor = link / weight
            constant = (stores[index] * self.wall_c[index] + outward * constant) / weight
            constants[index] = constant
            outward = link
        store = self.load * (1 + HEAT_RISE_PER_C * self.load_c) / step_h
        load_store = store
        to_load = exchange * store / (exchange + store)
        return factors, constants, to_load, load_store, inward


def _radiation(temp_c: Array, emissivity: float) -> Array:
    """Radiation between near surfaces in W/(m2 K), linear about their mean temperature."""
    kelvin = temp_c + KELVIN_AT_0_C
    return 4 * emissivity * STEFAN_BOLTZMANN_W_PER_M2_K4 * kelvin * kelvin * kelvin


def _chamber_exchange(temp_c: Array) -> Array:
    at = CHAMBER_CONVECTION_W_PER_M2_K + _radiation(np.array(CHAMBER_AT_C), CHAMBER_EMISSIVITY)
    return (CHAMBER_CONVECTION_W_PER_M2_K + _radiation(temp_c, CHAMBER_EMISSIVITY)) / at


def _outer_exchange(wall_c: Array, room_c: Array) -> Array:
    at = OUTER_CONVECTION_W_PER_M2_K + _radiation(np.array((OUTER_AT_C + 20) / 2), OUTER_EMISSIVITY)
    surface_c = room_c + 0.5 * (wall_c - room_c)
    mean_c = (surface_c + room_c) / 2
    return (OUTER_CONVECTION_W_PER_M2_K + _radiation(mean_c, OUTER_EMISSIVITY)) / at
