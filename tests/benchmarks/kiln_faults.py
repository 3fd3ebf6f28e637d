"""Electric kilns that go wrong, for measuring the watch: a model of its own, apart from Wareboard.

Many firings at once, as numpy arrays with one row each. A kiln is three sections, one above the
other; a section is its air and elements, its ware and shelves, and its wall in four layers, all
joined by radiation, convection and conduction, stepped implicitly one store after the other. A
proportional and integral controller follows a schedule, waiting for its kiln or not. Kilns with
one thermocouple have their elements interleaved, so that a broken one weakens all sections alike;
kilns with three have one for each section. Values of brick: 600 kg/m3 and 774 J/(kg K) (group 23,
ASTM C155; kaolin insulating brick), conductivity 0.10 to 0.18 W/(m K) (a 604 kg/m3 brick), sizes
and powers as studio kilns have. It predicts no real kiln.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

STEP_S = 30.0
SIGMA = 5.670374419e-8  # CODATA 2018
KELVIN = 273.15
WALL_LAYERS = 4
HOURS_MAX = 32.0
FAULTS = (
    "none",
    "element failed",
    "relay stuck on",
    "relay stuck off",
    "thermocouple drifts",
    "lid opened",
    "logger gone",
    "power cut",
)
Array = np.ndarray[Any, np.dtype[Any]]


@dataclass
class Fleet:
    """Firings of one fault: schedules, kilns, controllers, loggers; row by row."""

    fault: str
    count: int
    dice: np.random.Generator
    rates: Array = field(init=False)
    targets: Array = field(init=False)
    holds_s: Array = field(init=False)
    schedules: list[list[tuple[float, float, float]]] = field(init=False)
    cones: list[str] = field(init=False)

    def __post_init__(self) -> None:
        self._draw_schedules()
        self._draw_kilns()
        self._draw_loggers()

    def _draw_schedules(self) -> None:
        self.schedules, self.cones = [], []
        for _ in range(self.count):
            cone, schedule = _schedule(self.dice)
            self.schedules.append(schedule)
            self.cones.append(cone)
        width = max(len(one) for one in self.schedules)
        filled = np.array(
            [[*one, *[(1.0, one[-1][1], 0.0)] * (width - len(one))] for one in self.schedules]
        )
        self.rates, self.targets, self.holds_s = (filled[:, :, n] for n in range(3))
        self.holds_s = self.holds_s * 60
        self.ramps = np.array([len(one) for one in self.schedules])
        self.top_c = self.targets.max(axis=1)

    def _draw_kilns(self) -> None:
        dice, n = self.dice, self.count
        across_m, high_m = dice.uniform(0.42, 0.76, n), dice.uniform(0.45, 0.72, n)
        self.wall_m = dice.uniform(0.064, 0.1, n)
        self.area_m2 = (np.pi * across_m * high_m + np.pi * across_m**2 / 2) / 3
        volume_m3 = np.pi * across_m**2 / 4 * high_m
        load_kg = volume_m3 * dice.uniform(130, 330, n)
        self.load_j_per_k = load_kg * 950 / 3
        self.load_m2 = np.maximum(0.05, 0.05 * load_kg / 3)
        self.air_j_per_k = dice.uniform(1500, 4000, n)
        self.room_c = dice.uniform(8, 30, n)
        self.layer_j_per_k = 600 * 774 * 1.12 * self.area_m2 * self.wall_m / WALL_LAYERS
        self.has_zones = dice.random(n) < 0.25
        self.leak_w_per_k = dice.uniform(0.1, 0.6, n)
        self.rated_w = self._needed_w() / dice.uniform(0.6, 0.78, n)
        self.waits = dice.random(n) < 0.5
        self.lead_c = dice.uniform(8, 18, n)
        self.gain = dice.uniform(0.03, 0.08, n)
        self.integral_s = dice.uniform(500, 1200, n)

    def _needed_w(self) -> Array:
        """The most its schedule takes: storing heat while climbing, and losing it."""
        needed = np.zeros(self.count)
        store = 3 * (self.load_j_per_k + 0.6 * WALL_LAYERS * self.layer_j_per_k)
        for at in range(self.rates.shape[1]):
            is_up = np.logical_and(self.rates[:, at] > 1.5, at < self.ramps)
            target = self.targets[:, at]
            loss = 3 * self.area_m2 * (0.1 + 7e-5 * target) * (target - 60) / self.wall_m
            climb = store * self.rates[:, at] / 3600
            needed = np.where(is_up, np.maximum(needed, 0.85 * loss + climb), needed)
        return needed

    def _draw_loggers(self) -> None:
        dice, n = self.dice, self.count
        self.interval_s = dice.choice([30.0, 60.0, 120.0, 300.0, 600.0], n)
        self.post_every_s = np.maximum(self.interval_s, dice.choice([0.0, 300.0, 900.0], n))
        self.channels = dice.choice(["duty", "power", "set point", "bare"], n)
        self.noise_c = dice.uniform(0.2, 1.5, n)
        self.step_c = dice.choice([0.1, 1.0], n)
        self.lag_s = dice.uniform(30, 120, n)
        self.knows = dice.choice(["schedule", "past", "cone"], n, p=[0.65, 0.27, 0.08])


@dataclass
class Fired:
    """What happened, one row for each firing and one column for each half minute.

    `fault_s` is when it went wrong, infinity for a sound firing. `is_read` says where the logger
    was alive. The set point is NaN once the programme is over or the controller is dark.
    """

    fleet: Fleet
    times_s: Array
    temps_c: Array
    zones_c: Array
    set_points_c: Array
    duties: Array
    powers_w: Array
    is_read: Array
    fault_s: Array


def fire(fleet: Fleet, *, faulty: bool = True) -> Fired:
    """Fire the whole fleet; without `faulty` the same firings with nothing wrong."""
    return _Run(fleet, _Troubles(fleet, faulty)).through()


def _schedule(dice: np.random.Generator) -> tuple[str, list[tuple[float, float, float]]]:
    cone, top_c = [("06", 998.0), ("04", 1063.0), ("5", 1186.0), ("6", 1222.0), ("10", 1285.0)][
        dice.choice(5, p=[0.2, 0.3, 0.1, 0.3, 0.1])
    ]
    pace = dice.uniform(0.8, 1.15)
    end = (60.0, top_c, float(dice.choice([0, 5, 10, 20, 30])))
    if top_c < 1100:
        early = [
            (70 * pace, 110.0, float(dice.choice([0, 45, 120]))),
            (110 * pace, 600.0, float(dice.choice([0, 0, 30]))),
            (150 * pace, top_c - 100, 0.0),
        ]
    else:
        early = [
            (110 * pace, 250.0, 0.0),
            (160 * pace, top_c - 100, float(dice.choice([0, 0, 20]))),
        ]
    late = [(80.0, top_c - 200, 30.0)] if top_c > 1100 and dice.random() < 0.25 else []
    return cone, [*early, end, *late]


class _Troubles:
    """When what goes wrong, and for how long; times in seconds since the start."""

    def __init__(self, fleet: Fleet, faulty: bool) -> None:
        dice, n = fleet.dice, fleet.count
        self.kind = fleet.fault if faulty else "none"
        up_s = self._heating_s(fleet)
        share = dice.uniform(0.15, 0.9, n)
        self.starts_s = np.where(np.full(n, self.kind != "none"), share * up_s, np.inf)
        self.lasts_s = np.full(n, np.inf)
        self.section = dice.integers(0, 3, n)
        self.stuck_share = np.where(dice.random(n) < 0.7, 1.0, 1 / 3)
        sign = np.where(dice.random(n) < 0.7, -1.0, 1.0)
        self.drift_c_per_h = sign * dice.uniform(5, 40, n)
        self.drift_at_most_c = dice.uniform(30, 150, n)
        self.lid_m2 = dice.uniform(0.12, 0.3, n) * fleet.area_m2 * 3
        self.takes_logger = dice.random(n) < 0.5
        if self.kind == "lid opened":
            self.lasts_s = dice.uniform(5, 30, n) * 60
        if self.kind == "power cut":
            self.lasts_s = dice.uniform(15, 150, n) * 60
        # A sound logger loses its network for some minutes now and then.
        self.dropout_s = np.where(dice.random(n) < 0.15, dice.uniform(0.1, 0.9, n) * up_s, np.inf)
        self.dropout_lasts_s = dice.uniform(180, 720, n)

    @staticmethod
    def _heating_s(fleet: Fleet) -> Array:
        seconds, at_c = np.zeros(fleet.count), np.full(fleet.count, 20.0)
        for column in range(fleet.rates.shape[1]):
            is_up = np.logical_and(fleet.targets[:, column] > at_c, column < fleet.ramps)
            climb = (fleet.targets[:, column] - at_c) / fleet.rates[:, column] * 3600
            seconds += np.where(is_up, climb + fleet.holds_s[:, column], 0.0)
            at_c = np.where(is_up, fleet.targets[:, column], at_c)
        return seconds

    def now(self, time_s: float) -> Array:
        return np.logical_and(time_s >= self.starts_s, time_s < self.starts_s + self.lasts_s)

    def is_read(self, time_s: float) -> Array:
        lost = np.logical_and(
            time_s >= self.dropout_s, time_s < self.dropout_s + self.dropout_lasts_s
        )
        if self.kind == "logger gone":
            lost |= self.now(time_s)
        if self.kind == "power cut":
            lost |= np.logical_and(self.now(time_s), self.takes_logger)
        return ~lost


class _Run:
    def __init__(self, fleet: Fleet, troubles: _Troubles) -> None:
        n = fleet.count
        self.fleet, self.troubles = fleet, troubles
        room = fleet.room_c[:, None]
        self.air_c = np.repeat(room, 3, axis=1)
        self.load_c = self.air_c.copy()
        self.wall_c = np.repeat(self.air_c[:, :, None], WALL_LAYERS, axis=2)
        self.seen_c = self.air_c.copy()
        self.set_point_c = fleet.room_c.copy()
        self.ramp = np.zeros(n, dtype=int)
        self.held_s = np.zeros(n)
        self.integral = np.zeros(n)
        self.noise_seed = fleet.dice.integers(2**32)

    def through(self) -> Fired:
        fleet, troubles = self.fleet, self.troubles
        steps = int(HOURS_MAX * 3600 / STEP_S)
        shape = (fleet.count, steps)
        temps, set_points = np.zeros(shape), np.full(shape, np.nan)
        zones = np.zeros((*shape, 2))
        duties, powers = np.zeros(shape), np.zeros(shape)
        is_read = np.ones(shape, dtype=bool)
        noise = np.random.default_rng(self.noise_seed)
        for step in range(steps):
            time_s = step * STEP_S
            reads_c = self._reads(time_s)
            is_dark = (
                troubles.now(time_s)
                if troubles.kind == "power cut"
                else np.zeros(fleet.count, dtype=bool)
            )
            duty = self._control(reads_c[:, 1], is_dark)
            power = self._power(duty, time_s)
            self._heat(power, time_s)
            shake = noise.normal(size=(fleet.count, 3)) * fleet.noise_c[:, None]
            shown = np.round((reads_c + shake) / fleet.step_c[:, None]) * fleet.step_c[:, None]
            temps[:, step], zones[:, step] = shown[:, 1], shown[:, [0, 2]]
            is_over = self.ramp >= fleet.ramps
            set_points[:, step] = np.where(is_over | is_dark, np.nan, np.round(self.set_point_c, 1))
            duties[:, step], powers[:, step] = duty, power.sum(axis=1)
            is_read[:, step] = troubles.is_read(time_s)
        times = np.arange(steps) * STEP_S
        fault_s = troubles.starts_s
        return Fired(fleet, times, temps, zones, set_points, duties, powers, is_read, fault_s)

    def _reads(self, time_s: float) -> Array:
        """What the thermocouples say: late by their lag, and wrong where they drift."""
        share = (STEP_S / (self.fleet.lag_s + STEP_S))[:, None]
        self.seen_c += share * (self.air_c - self.seen_c)
        reads = self.seen_c.copy()
        if self.troubles.kind == "thermocouple drifts":
            hours = np.maximum(time_s - self.troubles.starts_s, 0) / 3600
            limit = self.troubles.drift_at_most_c
            reads[:, 1] += np.clip(self.troubles.drift_c_per_h * hours, -limit, limit)
        return reads

    def _control(self, reads_c: Array, is_dark: Array) -> Array:
        fleet = self.fleet
        rows = np.arange(fleet.count)
        at = np.minimum(self.ramp, fleet.rates.shape[1] - 1)
        is_on = np.logical_and(self.ramp < fleet.ramps, ~is_dark)
        target = fleet.targets[rows, at]
        change = fleet.rates[rows, at] * STEP_S / 3600
        off_c = np.abs(self.set_point_c - reads_c)
        may_move = np.logical_and(is_on, ~np.logical_and(fleet.waits, off_c > fleet.lead_c))
        moved = self.set_point_c + np.clip(target - self.set_point_c, -change, change)
        self.set_point_c = np.where(may_move, moved, self.set_point_c)
        # When power comes back the controller goes on from where the kiln is.
        self.set_point_c = np.where(is_dark, reads_c, self.set_point_c)
        is_there = np.logical_and(is_on, self.set_point_c == target)
        counts = np.logical_and(is_there, ~np.logical_and(fleet.waits, off_c > 5))
        self.held_s += np.where(counts, STEP_S, 0)
        is_done = np.logical_and(counts, self.held_s >= fleet.holds_s[rows, at])
        self.ramp = self.ramp + is_done
        self.held_s = np.where(is_done, 0.0, self.held_s)
        error = self.set_point_c - reads_c
        pushed = fleet.gain * error + self.integral
        may_wind = np.logical_or(np.abs(pushed - 0.5) < 0.5, error * (pushed - 0.5) < 0)
        grown = self.integral + fleet.gain * error * STEP_S / fleet.integral_s
        self.integral = np.clip(np.where(may_wind, grown, self.integral), 0, 1)
        self.integral = np.where(is_on, self.integral, 0.0)
        return np.where(is_on, np.clip(fleet.gain * error + self.integral, 0, 1), 0.0)

    def _power(self, duty: Array, time_s: float) -> Array:
        fleet, troubles = self.fleet, self.troubles
        power = np.repeat((duty * fleet.rated_w / 3)[:, None], 3, axis=1)
        now = troubles.now(time_s)
        if troubles.kind == "element failed":
            is_it = np.arange(3)[None, :] == troubles.section[:, None]
            zone = np.where(is_it, 0.0, power)
            failed = np.where(fleet.has_zones[:, None], zone, power * 2 / 3)
            power = np.where(now[:, None], failed, power)
        if troubles.kind == "relay stuck on":
            stuck = (troubles.stuck_share * fleet.rated_w / 3)[:, None]
            rest = power * (1 - troubles.stuck_share)[:, None]
            power = np.where(now[:, None], stuck + rest, power)
        if troubles.kind in ("relay stuck off", "power cut"):
            power = np.where(now[:, None], 0.0, power)
        return power

    def _heat(self, power: Array, time_s: float) -> None:
        """One step: air, then ware, then the wall from the inside out, each implicitly."""
        fleet = self.fleet
        room = fleet.room_c[:, None]
        to_load = fleet.load_m2[:, None] * (8 + _radiation(self.air_c, self.load_c))
        to_wall = fleet.area_m2[:, None] * (8 + _radiation(self.air_c, self.wall_c[:, :, 0]))
        half = (0.1 + 7e-5 * self.wall_c[:, :, 0]) * fleet.area_m2[:, None] * 2 * WALL_LAYERS
        half = half / fleet.wall_m[:, None]
        to_wall = to_wall * half / (to_wall + half)
        leak = np.repeat(fleet.leak_w_per_k[:, None] / 3, 3, axis=1)
        if self.troubles.kind == "lid opened":
            open_m2 = np.where(self.troubles.now(time_s), self.troubles.lid_m2, 0.0)[:, None] / 3
            leak = leak + open_m2 * (15 + _radiation(self.air_c, room))
        mixing = np.where(fleet.has_zones, 0.06, 2.0)[:, None] * fleet.area_m2[:, None] * 2
        across = mixing * (10 + _radiation(self.air_c, self.air_c))
        above = np.roll(self.air_c, -1, axis=1)
        below = np.roll(self.air_c, 1, axis=1)
        above[:, 2], below[:, 0] = self.air_c[:, 1], self.air_c[:, 1]
        neighbours = np.stack([self.air_c[:, 1], (above[:, 1] + below[:, 1]) / 2, self.air_c[:, 1]])
        neighbour = neighbours.T
        store = fleet.air_j_per_k[:, None] / STEP_S
        known = store * self.air_c + power + to_load * self.load_c
        known = known + to_wall * self.wall_c[:, :, 0] + leak * room + across * neighbour
        self.air_c = known / (store + to_load + to_wall + leak + across)
        load = fleet.load_j_per_k[:, None] / STEP_S
        self.load_c = (load * self.load_c + to_load * self.air_c) / (load + to_load)
        self._conduct(to_wall, room)

    def _conduct(self, to_wall: Array, room: Array) -> None:
        fleet, wall = self.fleet, self.wall_c
        store = fleet.layer_j_per_k[:, None] / STEP_S
        links = [to_wall]
        for layer in range(WALL_LAYERS - 1):
            mean_c = (wall[:, :, layer] + wall[:, :, layer + 1]) / 2
            through = (0.1 + 7e-5 * mean_c) * fleet.area_m2[:, None]
            links.append(through * WALL_LAYERS / fleet.wall_m[:, None])
        outer = 6 + _radiation(wall[:, :, -1], room) * 0.6
        links.append(1.5 * fleet.area_m2[:, None] * outer)
        for layer in range(WALL_LAYERS):
            inner = self.air_c if layer == 0 else wall[:, :, layer - 1]
            beyond = room if layer == WALL_LAYERS - 1 else wall[:, :, layer + 1]
            inward, outward = links[layer], links[layer + 1]
            known = store * wall[:, :, layer] + inward * inner + outward * beyond
            wall[:, :, layer] = known / (store + inward + outward)


def _radiation(one_c: Array, other_c: Array) -> Array:
    """W/(m2 K) between near surfaces, linear about their temperatures; emissivity 0.7."""
    one, other = one_c + KELVIN, other_c + KELVIN
    exchange: Array = 0.7 * SIGMA * (one + other) * (one**2 + other**2)
    return exchange
