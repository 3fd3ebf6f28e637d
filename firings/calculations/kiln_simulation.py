"""A kiln of brick, reckoned from published material values, for demonstration and for tests.

The chamber stands between two stores of heat. On one side the ware and its shelves, one mass
at one temperature; on the other the wall, cut into cells from the hot face outward, through
which heat passes in one dimension (finite differences, implicit in time) to the room. Chamber
and stores exchange heat by radiation, linearised anew each step, and a little convection.
The thermocouple reads the chamber.

Left out: drying, the heat of reactions in clay and glaze, uneven temperature, and the switching
of elements (power is as smooth as a mean over some minutes). It predicts no real kiln.
"""

import math
import random
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

STEFAN_BOLTZMANN_W_PER_M2_K4 = 5.670374419e-8  # CODATA 2018
KELVIN_AT_0_C = 273.15

# A light kaolin insulating brick, 0.084 W/(m K) at 20 C (matmake.com refractory table), rising
# with heat in the proportion of a 604 kg/m3 brick, 0.20 / 0.28 / 0.32 W/(m K) at
# 300 / 750 / 1000 C (building-hardware.com sheet, 2011). Density of a group 23 brick of
# ASTM C155, 580 to 650 kg/m3 (ciccorp.com.my sheet).
BRICK_DENSITY_KG_PER_M3 = 600.0
BRICK_CONDUCTIVITY: tuple[tuple[float, float], ...] = ((300, 0.112), (750, 0.157), (1000, 0.180))
# Kaolin insulating brick and fireclay brick at room temperature (matmake.com refractory table).
BRICK_SPECIFIC_HEAT_J_PER_KG_K = 774.0
FIRECLAY_SPECIFIC_HEAT_J_PER_KG_K = 753.0
# Fireclay holds some 1.2 times as much per degree at 1000 C: from memory.
SPECIFIC_HEAT_RISE_PER_C = 0.2 / 1000
# Exchange within the chamber and with the room: common practice, no source.
CHAMBER_EMISSIVITY = 0.7
SURFACE_EMISSIVITY = 0.4
CHAMBER_CONVECTION_W_PER_M2_K = 8.0
ROOM_CONVECTION_W_PER_M2_K = 6.0
WARE_AREA_M2_PER_KG = 0.06
# A controller that waits for the kiln lets its set point run ahead by this much.
SET_POINT_LEAD_C = 10.0
ON_TARGET_C = 2.0
STALLED_AFTER_S = 3 * 3600
STALLED_SHARE = 0.1
LONGEST_S = 120 * 3600
WALL_CELL_MM = 12.5


@dataclass(frozen=True)
class SimulatedKiln:
    """A kiln's size and material. Areas are of the whole wall, floor and lid."""

    inner_area_m2: float
    outer_area_m2: float
    wall_mm: float
    rated_power_w: float
    shelves_kg: float
    brick_density_kg_per_m3: float = BRICK_DENSITY_KG_PER_M3
    brick_conductivity: tuple[tuple[float, float], ...] = BRICK_CONDUCTIVITY
    elements_j_per_k: float = 4000.0
    leak_w_per_k: float = 0.4


@dataclass(frozen=True)
class Segment:
    """Go to target_c at rate_c_per_h (a size, above 0, up or down), then hold."""

    rate_c_per_h: float
    target_c: float
    hold_minutes: float = 0.0


@dataclass(frozen=True)
class KilnSample:
    """One line of the log. set_point_c is None once the schedule is over and power is off.

    power_w is the mean since the line before; register_wh counts on from the start.
    """

    minute: int
    temp_c: float
    set_point_c: float | None
    power_w: float
    register_wh: float


def round_kiln(
    diameter_mm: float,
    height_mm: float,
    rated_power_w: float,
    shelves_kg: float,
    wall_mm: float = 75.0,
) -> SimulatedKiln:
    """Return a kiln with a round chamber of the given inner size, the same brick all round.

    Raises ValueError for a size or power that is not above 0.
    """
    sizes = {"diameter_mm": diameter_mm, "height_mm": height_mm, "wall_mm": wall_mm}
    for name, value in {**sizes, "rated_power_w": rated_power_w}.items():
        if not value > 0:
            raise ValueError(f"{name} must be above 0, not {value!r}")

    def cylinder_m2(extra_mm: float) -> float:
        radius_m, height_m = (diameter_mm + extra_mm) / 2000, (height_mm + extra_mm) / 1000
        return 2 * math.pi * radius_m * (radius_m + height_m)

    return SimulatedKiln(
        inner_area_m2=cylinder_m2(0),
        outer_area_m2=cylinder_m2(2 * wall_mm),
        wall_mm=wall_mm,
        rated_power_w=rated_power_w,
        shelves_kg=shelves_kg,
    )


def simulate_firing(
    kiln: SimulatedKiln,
    schedule: Sequence[Segment],
    load_kg: float,
    room_c: float,
    step_s: float = 60.0,
    sample_minutes: int = 5,
    until_c: float = 50.0,
    random_state: random.Random | None = None,
) -> list[KilnSample]:
    """Fire a kiln through a schedule and let it cool to until_c; return its log.

    The controller waits: its set point never leads by more than 10 C, and a hold begins when the
    kiln is within 2 C of it. After 3 hours at less than a tenth of the rate asked for, the power
    goes off, as from a kiln that cannot reach its target. random_state adds noise of 0.7 C to
    the logged temperature; without it, and with equal seeds, equal input gives equal output.
    Raises ValueError for an empty schedule, sizes not above 0, and until_c not above room_c.
    """
    _check_run(schedule, load_kg, room_c, step_s, sample_minutes, until_c)
    body = _Body(kiln, load_kg, room_c)
    controller = _Controller(schedule, room_c)
    steps_per_sample = max(1, round(sample_minutes * 60 / step_s))
    samples = [KilnSample(0, _logged(room_c, random_state), room_c, 0.0, 0.0)]
    register_j = sample_j = 0.0
    for step in range(1, int(LONGEST_S / step_s) + 1):
        set_point_c = controller.advance(body.chamber_c, step_s)
        power_w = body.advance(set_point_c, step_s)
        register_j += power_w * step_s
        if step % steps_per_sample == 0:
            samples.append(
                KilnSample(
                    minute=round(step * step_s / 60),
                    temp_c=_logged(body.chamber_c, random_state),
                    set_point_c=None if set_point_c is None else round(set_point_c, 1),
                    power_w=round((register_j - sample_j) / (steps_per_sample * step_s), 1),
                    register_wh=round(register_j / 3600, 1),
                )
            )
            sample_j = register_j
            if set_point_c is None and body.chamber_c <= until_c:
                break
    return samples


def _check_run(
    schedule: Sequence[Segment],
    load_kg: float,
    room_c: float,
    step_s: float,
    sample_minutes: int,
    until_c: float,
) -> None:
    if not schedule:
        raise ValueError("schedule must have at least one segment")
    for segment in schedule:
        if not segment.rate_c_per_h > 0 or not segment.hold_minutes >= 0:
            raise ValueError(f"schedule has a segment with a bad rate or hold: {segment}")
    for name, value in {"step_s": step_s, "sample_minutes": sample_minutes}.items():
        if not value > 0:
            raise ValueError(f"{name} must be above 0, not {value!r}")
    if not load_kg >= 0:
        raise ValueError(f"load_kg must be 0 or more, not {load_kg!r}")
    if not until_c > room_c:
        raise ValueError(f"until_c {until_c!r} must be above room_c {room_c!r}")


def _logged(temp_c: float, random_state: random.Random | None) -> float:
    return round(temp_c + (random_state.gauss(0.0, 0.7) if random_state else 0.0), 1)


class _Controller:
    """Follows the schedule; its set point is None when the schedule is over."""

    def __init__(self, schedule: Sequence[Segment], start_c: float) -> None:
        self.segments = list(schedule)
        self.set_point_c = start_c
        self.held_s = 0.0
        self.stalled_s = 0.0

    def advance(self, chamber_c: float, step_s: float) -> float | None:
        if not self.segments:
            return None
        segment = self.segments[0]
        before_c = self.set_point_c
        if before_c != segment.target_c:
            self.set_point_c = self._ramped(segment, chamber_c, step_s)
        elif self.held_s > 0 or abs(chamber_c - segment.target_c) <= ON_TARGET_C:
            self.held_s += step_s
            if self.held_s >= segment.hold_minutes * 60:
                self.segments.pop(0)
                self.held_s = 0.0
        least_c = STALLED_SHARE * segment.rate_c_per_h * step_s / 3600
        is_moving = abs(self.set_point_c - before_c) > least_c or self.held_s > 0
        self.stalled_s = 0.0 if is_moving else self.stalled_s + step_s
        if self.stalled_s >= STALLED_AFTER_S:
            self.segments.clear()
        return self.set_point_c if self.segments else None

    def _ramped(self, segment: Segment, chamber_c: float, step_s: float) -> float:
        change_c = segment.rate_c_per_h * step_s / 3600
        if segment.target_c > self.set_point_c:
            ahead_c = max(self.set_point_c, chamber_c + SET_POINT_LEAD_C)
            return min(self.set_point_c + change_c, segment.target_c, ahead_c)
        behind_c = min(self.set_point_c, chamber_c - SET_POINT_LEAD_C)
        return max(self.set_point_c - change_c, segment.target_c, behind_c)


class _Body:
    """Load, chamber and wall as a chain of heat stores."""

    def __init__(self, kiln: SimulatedKiln, load_kg: float, room_c: float) -> None:
        self.kiln = kiln
        self.room_c = room_c
        self.load_mass_kg = load_kg + kiln.shelves_kg
        self.load_area_m2 = max(0.05, WARE_AREA_M2_PER_KG * self.load_mass_kg)
        count = max(3, round(kiln.wall_mm / WALL_CELL_MM))
        self.cell_m = kiln.wall_mm / 1000 / count
        growth_m2 = (kiln.outer_area_m2 - kiln.inner_area_m2) / count
        self.edge_areas_m2 = [kiln.inner_area_m2 + growth_m2 * edge for edge in range(count + 1)]
        self.cell_masses_kg = [
            kiln.brick_density_kg_per_m3 * self.cell_m * (inner + outer) / 2
            for inner, outer in pairwise(self.edge_areas_m2)
        ]
        self.load_c = self.chamber_c = room_c
        self.wall_c = [room_c] * count

    def advance(self, set_point_c: float | None, step_s: float) -> float:
        """Move on by one step; return the power in W that it took.

        Each equation of the implicit scheme ties a cell to its neighbours only. Eliminating from
        the outer wall inward, and the load, leaves one equation for the chamber: from it comes
        the power that would meet the set point, limited to what the kiln has.
        """
        kiln = self.kiln
        links = self._links_w_per_k()
        factors, constants = self._eliminated_wall(links, step_s)
        load_link = self.load_area_m2 * _exchange(self.chamber_c, self.load_c)
        load_store = self.load_mass_kg * _heat(FIRECLAY_SPECIFIC_HEAT_J_PER_KG_K, self.load_c)
        load_store /= step_s
        store = kiln.elements_j_per_k / step_s
        to_load = load_link * load_store / (load_link + load_store)
        weight = store + kiln.leak_w_per_k + to_load + links[0] * (1 - factors[0])
        known_w = store * self.chamber_c + kiln.leak_w_per_k * self.room_c
        known_w += to_load * self.load_c + links[0] * constants[0]
        power_w = 0.0
        if set_point_c is not None:
            power_w = min(max(weight * set_point_c - known_w, 0.0), kiln.rated_power_w)
        self.chamber_c = (known_w + power_w) / weight
        self.load_c = (load_store * self.load_c + load_link * self.chamber_c) / (
            load_store + load_link
        )
        inner_c = self.chamber_c
        for index, (factor, constant) in enumerate(zip(factors, constants, strict=True)):
            inner_c = self.wall_c[index] = factor * inner_c + constant
        return power_w

    def _links_w_per_k(self) -> list[float]:
        """Return conductances: chamber to first cell, cell to cell, last cell to room."""
        table = self.kiln.brick_conductivity
        conductivities = [_at(table, temp_c) for temp_c in self.wall_c]
        half_m = self.cell_m / 2
        faces = _exchange(self.chamber_c, self.wall_c[0])
        links = [self.edge_areas_m2[0] / (1 / faces + half_m / conductivities[0])]
        for index in range(1, len(self.wall_c)):
            resistance = half_m / conductivities[index - 1] + half_m / conductivities[index]
            links.append(self.edge_areas_m2[index] / resistance)
        surface_c = (self.wall_c[-1] + self.room_c) / 2
        outside = ROOM_CONVECTION_W_PER_M2_K + _radiation(surface_c, surface_c, SURFACE_EMISSIVITY)
        links.append(self.edge_areas_m2[-1] / (1 / outside + half_m / conductivities[-1]))
        return links

    def _eliminated_wall(
        self, links: Sequence[float], step_s: float
    ) -> tuple[list[float], list[float]]:
        """Write each new cell temperature as factor x (its inner neighbour) + constant."""
        count = len(self.wall_c)
        factors, constants = [0.0] * count, [0.0] * count
        outer_factor, outer_constant = 0.0, self.room_c
        for index in range(count - 1, -1, -1):
            temp_c = self.wall_c[index]
            store = self.cell_masses_kg[index] * _heat(BRICK_SPECIFIC_HEAT_J_PER_KG_K, temp_c)
            store /= step_s
            inward, outward = links[index], links[index + 1]
            weight = store + inward + outward * (1 - outer_factor)
            outer_factor = inward / weight
            outer_constant = (store * temp_c + outward * outer_constant) / weight
            factors[index], constants[index] = outer_factor, outer_constant
        return factors, constants


def _at(table: Sequence[tuple[float, float]], temp_c: float) -> float:
    """Read a table of (C, value), straight between rows and carried on straight beyond them."""
    index = min(max(bisect_right(table, (temp_c, math.inf)), 1), len(table) - 1)
    (low_c, low), (high_c, high) = table[index - 1], table[index]
    return low + (high - low) * (temp_c - low_c) / (high_c - low_c)


def _heat(at_room_j_per_kg_k: float, temp_c: float) -> float:
    return at_room_j_per_kg_k * (1 + SPECIFIC_HEAT_RISE_PER_C * temp_c)


def _radiation(one_c: float, other_c: float, emissivity: float) -> float:
    """Return radiation between near surfaces as W/(m2 K), linear about their temperatures."""
    one, other = one_c + KELVIN_AT_0_C, other_c + KELVIN_AT_0_C
    return emissivity * STEFAN_BOLTZMANN_W_PER_M2_K4 * (one + other) * (one**2 + other**2)


def _exchange(one_c: float, other_c: float) -> float:
    return CHAMBER_CONVECTION_W_PER_M2_K + _radiation(one_c, other_c, CHAMBER_EMISSIVITY)
