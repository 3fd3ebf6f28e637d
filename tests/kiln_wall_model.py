"""Kilns of layered brick, reckoned by finite differences: what the cooling forecast is tried on.

Written apart from the forecast and from the demo's kiln. Every case has its own wall of a hot
face and a backing of other brick, a steel jacket, ware and shelves as two masses, a lid or door
that leaks by radiation and by air, and a thermocouple that lags; the room is warmed by the kiln
and follows the day. All cases run side by side, one minute a step.

Published values, each with its page: heat capacity at room temperature of kaolin insulating brick
774, fireclay 753 J/(kg K) and conductivity of kaolin insulating brick 0.084 (light) to 0.251
(heavy) W/(m K) at 20 C (matmake.com refractory table); a 604 kg/m3 brick 0.20 / 0.28 / 0.32 at
300 / 750 / 1000 C (building-hardware.com, 2011), whose rise all our bricks share; densities of
ASTM C155 groups, 580-650 (23), 750-1000 (26) kg/m3 (ciccorp.com.my sheet); silicon carbide
670-1180, mullite 950 J/(kg K) (makeitfrom.com).
From memory: the rise of heat capacity with temperature (1.2 times at 1000 C), still-air
convection 1.31 dT^(1/3) W/(m2 K) at a wall, steel 7850 kg/m3 and 490 J/(kg K).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

import numpy as np

from firings.calculations.readings import Reading

SIGMA = 5.670374419e-8
HOT_CELLS, BACK_CELLS = 9, 5
CELLS = HOT_CELLS + BACK_CELLS + 1  # and the jacket
STEP_S = 60.0
START = datetime(2026, 2, 3, 7, tzinfo=UTC)
UNTIL_C = 45.0
HOURS_MAX = 150
CONDUCTIVITY_C = np.array([300.0, 750.0, 1000.0])
CONDUCTIVITY = np.array([0.20, 0.28, 0.32])


@dataclass(frozen=True)
class WallKiln:
    """One kiln. Areas in m2 of the inner face; the outer is larger by `growth`."""

    inner_m2: float
    volume_l: float
    growth: float
    hot_mm: float
    hot_kg_per_m3: float
    hot_at_20: float
    back_mm: float
    back_kg_per_m3: float
    back_at_20: float
    jacket_mm: float
    emissivity_out: float
    emissivity_in: float
    opening_m2: float
    air_w_per_k: float
    power_w: float
    probe_min: float


@dataclass(frozen=True)
class WallLoad:
    """One firing: masses, schedule (C per hour, C, hold in minutes), room, logger, noise."""

    ware_kg: float
    shelf_kg: float
    shelf_j_per_kg_k: float
    ware_m2_per_kg: float
    segments: tuple[tuple[float, float, float], ...]
    room_c: float
    room_swing_c: float
    room_warming_c: float
    start_hour: float
    noise_c: float
    sample_min: int


@dataclass(frozen=True)
class WallLog:
    """Its log, and the true times: seconds since START."""

    kiln: WallKiln
    load: WallLoad
    readings: list[Reading]
    off_at: datetime
    true_c: np.ndarray
    true_s: np.ndarray

    def reaches(self, temp_c: float) -> datetime:
        """When the thermocouple, without its noise, first reads temp_c after the power went off."""
        off_s = (self.off_at - START).total_seconds()
        cooling = self.true_s >= off_s
        index = int(np.argmax((self.true_c <= temp_c) & cooling))
        assert self.true_c[index] <= temp_c
        assert self.true_s[index] >= off_s
        (high_s, low_s), (high, low) = (
            self.true_s[index - 1 : index + 1],
            self.true_c[index - 1 : index + 1],
        )
        share = (high - temp_c) / (high - low) if high > low else 1.0
        return START + timedelta(seconds=float(high_s + share * (low_s - high_s)))


def any_kiln(dice: np.random.Generator) -> WallKiln:
    """A kiln between 40 and 350 litres, of soft or harder brick, thin or backed."""
    volume_l = float(np.exp(dice.uniform(np.log(40), np.log(350))))
    across_m = (volume_l / 1000 / 0.8) ** (1 / 3) * dice.uniform(0.92, 1.08)
    inner_m2 = 5.1 * across_m**2
    hot_mm = float(dice.choice([64.0, 76.0, 114.0], p=[0.35, 0.45, 0.2]))
    is_backed = dice.random() < 0.4
    density = dice.uniform(580, 800)
    return WallKiln(
        inner_m2=inner_m2,
        volume_l=volume_l,
        growth=1 + 2.2 * (hot_mm + 25 * is_backed) / 1000 / across_m,
        hot_mm=hot_mm,
        hot_kg_per_m3=density,
        hot_at_20=float(np.interp(density, [560, 1000], [0.09, 0.25])) * dice.uniform(0.9, 1.1),
        back_mm=25.0 if is_backed else 6.0,
        back_kg_per_m3=300.0 if is_backed else 600.0,
        back_at_20=0.084 if is_backed else 0.12,
        jacket_mm=0.6,
        emissivity_out=dice.uniform(0.2, 0.8),
        emissivity_in=dice.uniform(0.6, 0.9),
        opening_m2=dice.uniform(0.0, 0.0012) * inner_m2,
        air_w_per_k=dice.uniform(0.1, 0.7) * inner_m2,
        power_w=dice.uniform(5500, 7500) * inner_m2,
        probe_min=dice.uniform(0.5, 4.0),
    )


def any_load(dice: np.random.Generator, kiln: WallKiln) -> WallLoad:
    """Bisque or glaze, half empty to crammed, in a cold or a hot room."""
    is_glaze = dice.random() < 0.5
    peak_c = dice.uniform(1200, 1260) if is_glaze else dice.uniform(990, 1070)
    pace = dice.uniform(0.8, 1.3)
    segments = ((100 * pace, 250.0, 0.0), (170 * pace, peak_c - 100, 0.0))
    last = (60 * dice.uniform(0.8, 1.6), peak_c, float(dice.choice([0, 10, 20, 40])))
    start = ((70.0, 110.0, 45.0),) if not is_glaze else ()
    shelf_kg = kiln.volume_l * dice.uniform(0.10, 0.20)
    return WallLoad(
        ware_kg=kiln.volume_l * dice.uniform(0.06, 0.30),
        shelf_kg=shelf_kg,
        shelf_j_per_kg_k=dice.uniform(760, 950),
        ware_m2_per_kg=dice.uniform(0.04, 0.08),
        segments=(*start, *segments, last),
        room_c=dice.uniform(8, 28),
        room_swing_c=dice.uniform(0, 3),
        room_warming_c=dice.uniform(2, 10),
        start_hour=dice.uniform(6, 22),
        noise_c=dice.uniform(0.2, 1.2),
        sample_min=int(dice.choice([1, 2, 5, 10])),
    )


def simulate_logs(
    cases: list[tuple[WallKiln, WallLoad]], dice: np.random.Generator
) -> list[WallLog]:
    """Fire and cool every case; noise comes from the dice."""
    body = _Bodies(cases)
    chamber, room, power, driven = [body.probe], [body.room_c], [body.power], [body.is_driven]
    for _ in range(int(HOURS_MAX * 3600 / STEP_S)):
        body.step()
        chamber.append(body.probe)
        room.append(body.room_c)
        power.append(body.power)
        driven.append(body.is_driven)
        if (body.probe < UNTIL_C).all() and not body.is_driven.any():
            break
    table = [np.array(one) for one in (chamber, room, power, driven)]
    return [_log(case, number, *table, dice) for number, case in enumerate(cases)]


def _log(case, number, chamber, room, power, driven, dice) -> WallLog:
    kiln, load = case
    true_c, is_driven = chamber[:, number], driven[:, number]
    off = int(np.flatnonzero(is_driven)[-1]) + 1
    end = off + int(np.argmax(true_c[off:] < UNTIL_C))
    every = load.sample_min
    readings = [
        Reading(
            at=START + timedelta(minutes=minute),
            temp_c=round(float(true_c[minute] + dice.normal(0, load.noise_c)), 1),
            power_w=round(float(power[max(0, minute - every + 1) : minute + 1, number].mean()), 1),
            room_c=round(float(room[minute, number] + dice.normal(0, 0.4)), 1),
        )
        for minute in range(0, end + 1, every)
    ]
    seconds = np.arange(end + 1) * STEP_S
    off_at = START + timedelta(minutes=off)
    return WallLog(kiln, load, readings, off_at, true_c[: end + 1], seconds)


class _Bodies:
    """All kilns at once: ware, shelves, chamber, wall cells."""

    def __init__(self, cases: list[tuple[WallKiln, WallLoad]]) -> None:
        self.cases = cases
        kilns, loads = [kiln for kiln, _ in cases], [load for _, load in cases]

        def of(rows, name):
            return np.array([getattr(row, name) for row in rows], dtype=float)

        self.inner = of(kilns, "inner_m2")
        edges = np.linspace(1.0, of(kilns, "growth"), CELLS + 1) * self.inner
        self.edge_m2 = edges
        thick = np.concatenate([
            np.repeat(of(kilns, "hot_mm")[None] / HOT_CELLS, HOT_CELLS, 0),
            np.repeat(of(kilns, "back_mm")[None] / BACK_CELLS, BACK_CELLS, 0),
            of(kilns, "jacket_mm")[None],
        ]) / 1000  # fmt: skip
        self.thick = thick
        density = np.concatenate([
            np.repeat(of(kilns, "hot_kg_per_m3")[None], HOT_CELLS, 0),
            np.repeat(of(kilns, "back_kg_per_m3")[None], BACK_CELLS, 0),
            np.full((1, len(cases)), 7850.0),
        ])  # fmt: skip
        self.mass = density * thick * (edges[:-1] + edges[1:]) / 2
        self.heat = np.concatenate([
            np.full((HOT_CELLS + BACK_CELLS, len(cases)), 774.0), np.full((1, len(cases)), 490.0)
        ])  # fmt: skip
        self.at_20 = np.concatenate([
            np.repeat(of(kilns, "hot_at_20")[None], HOT_CELLS, 0),
            np.repeat(of(kilns, "back_at_20")[None], BACK_CELLS, 0),
        ])  # fmt: skip
        self.ware = of(loads, "ware_kg")
        self.shelf = of(loads, "shelf_kg")
        self.shelf_heat = of(loads, "shelf_j_per_kg_k")
        self.ware_m2 = of(loads, "ware_m2_per_kg") * self.ware
        self.shelf_m2 = 0.04 * self.shelf
        self.e_in, self.e_out = of(kilns, "emissivity_in"), of(kilns, "emissivity_out")
        self.opening, self.air = of(kilns, "opening_m2"), of(kilns, "air_w_per_k")
        self.power_max, self.lag_s = of(kilns, "power_w"), 60 * of(kilns, "probe_min")
        self.base_room = of(loads, "room_c")
        self.swing, self.warming = of(loads, "room_swing_c"), of(loads, "room_warming_c")
        self.start_hour = of(loads, "start_hour")
        self.elapsed_s = 0.0
        self.segment = np.zeros(len(cases), int)
        self.held_s = np.zeros(len(cases))
        self.is_driven = np.ones(len(cases), bool)
        self.power = np.zeros(len(cases))
        self.room_c = self.base_room.copy()
        self.chamber = self.room_c.copy()
        self.ware_c, self.shelf_c = self.room_c.copy(), self.room_c.copy()
        self.probe = self.room_c.copy()
        self.wall = np.repeat(self.room_c[None], CELLS, 0)
        self.goal = self.room_c.copy()
        count = max(len(load.segments) for load in loads)
        self.rates, self.targets, self.holds = (np.zeros((count + 1, len(cases))) for _ in range(3))
        self.counts = np.array([len(load.segments) for load in loads])
        for number, load in enumerate(loads):
            for row, (rate, target, hold) in enumerate(load.segments):
                self.rates[row, number] = rate
                self.targets[row, number] = target
                self.holds[row, number] = hold * 60

    def _advance_goal(self) -> None:
        columns = np.arange(len(self.cases))
        rate, target = self.rates[self.segment, columns], self.targets[self.segment, columns]
        hold = self.holds[self.segment, columns]
        ahead = np.minimum(self.goal + rate * STEP_S / 3600, self.chamber + 12)
        self.goal = np.minimum(np.maximum(self.goal, ahead), target)
        is_there = (self.goal >= target) & (self.chamber >= target - 2) & self.is_driven
        self.held_s = np.where(is_there, self.held_s + STEP_S, self.held_s)
        is_done = is_there & (self.held_s >= hold)
        self.segment = np.where(is_done, self.segment + 1, self.segment)
        self.held_s = np.where(is_done, 0.0, self.held_s)
        # A kiln that cannot follow is switched off after 20 hours.
        is_over = (self.segment >= self.counts) | (self.elapsed_s > 20 * 3600)
        self.is_driven = self.is_driven & ~is_over
        self.segment = np.minimum(self.segment, self.counts - 1)

    def step(self) -> None:
        self.elapsed_s += STEP_S
        self._advance_goal()
        hour = self.start_hour + self.elapsed_s / 3600
        self.room_c = (
            self.base_room
            + self.swing * np.sin((hour - 9) * np.pi / 12)
            + self.warming * (self.wall[-1] - self.base_room) / 150
        )
        wall, edge = self.wall, self.edge_m2
        kelvin = self.chamber + 273.15

        def exchange(other):
            mean = (kelvin + other + 273.15) / 2
            return 6 + 4 * self.e_in * SIGMA * mean**3

        rise = np.interp((wall[:-1]).ravel(), CONDUCTIVITY_C, CONDUCTIVITY / 0.15)
        cold = 1 + (wall[:-1].ravel() - 20) * (0.20 / 0.15 - 1) / 280
        rise = np.where(wall[:-1].ravel() < 300, cold, rise)
        hot = 0.32 / 0.15 + (wall[:-1].ravel() - 1000) * (0.04 / 0.15) / 250
        rise = np.where(wall[:-1].ravel() > 1000, hot, rise).reshape(wall[:-1].shape)
        conducts = np.concatenate([self.at_20 * rise, np.full((1, wall.shape[1]), 45.0)])
        half = self.thick / 2 / conducts
        links = np.empty((CELLS + 1, wall.shape[1]))
        links[0] = edge[0] / (1 / exchange(wall[0]) + half[0])
        links[1:-1] = edge[1:-1] / (half[:-1] + half[1:])
        difference = np.maximum(np.abs(wall[-1] - self.room_c), 0.5)
        outer = 1.31 * difference ** (1 / 3)
        outer += 4 * self.e_out * SIGMA * ((wall[-1] + self.room_c) / 2 + 273.15) ** 3
        links[-1] = edge[-1] / (1 / outer + half[-1])
        store = self.mass * self.heat * (1 + 0.0002 * wall) / STEP_S
        factor, constant = np.zeros_like(self.chamber), self.room_c
        factors, constants = [None] * CELLS, [None] * CELLS
        for index in range(CELLS - 1, -1, -1):
            weight = store[index] + links[index] + links[index + 1] * (1 - factor)
            constant = (store[index] * wall[index] + links[index + 1] * constant) / weight
            factor = links[index] / weight
            factors[index], constants[index] = factor, constant
        ware_link, shelf_link = (
            self.ware_m2 * exchange(self.ware_c), self.shelf_m2 * exchange(self.shelf_c)
        )  # fmt: skip
        ware_store = self.ware * 753 * (1 + 0.0002 * self.ware_c) / STEP_S
        shelf_store = self.shelf * self.shelf_heat * (1 + 0.0002 * self.shelf_c) / STEP_S
        to_ware = ware_link * ware_store / (ware_link + ware_store)
        to_shelf = shelf_link * shelf_store / (shelf_link + shelf_store)
        own = 2500 * self.inner / STEP_S
        room_kelvin = self.room_c + 273.15
        opening = self.opening * SIGMA * (kelvin**2 + room_kelvin**2) * (kelvin + room_kelvin)
        leak = opening + self.air
        weight = own + leak + to_ware + to_shelf + links[0] * (1 - factors[0])
        known = own * self.chamber + leak * self.room_c + to_ware * self.ware_c
        known += to_shelf * self.shelf_c + links[0] * constants[0]
        wanted = np.clip(weight * self.goal - known, 0, self.power_max)
        self.power = np.where(self.is_driven, wanted, 0.0)
        self.chamber = (known + self.power) / weight
        self.ware_c = self.ware_c + to_ware / ware_store * (self.chamber - self.ware_c)
        self.shelf_c = self.shelf_c + to_shelf / shelf_store * (self.chamber - self.shelf_c)
        inner = self.chamber
        new = np.empty_like(wall)
        for index in range(CELLS):
            inner = new[index] = factors[index] * inner + constants[index]
        self.wall = new
        self.probe = self.probe + (self.chamber - self.probe) * (1 - np.exp(-STEP_S / self.lag_s))
