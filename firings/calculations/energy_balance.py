"""Where a firing's energy went, as an estimate: ware, shelves and posts, water, and the rest.

Heat taken up by a mass from the room to the peak is m c dT with a heat capacity that rises with
temperature; free water is warmed and boiled off; combined water leaves the clay with a heat of its
own. What is left of the measured energy went into the walls, out of the vent and into the room. It
is the remainder and no measurement. Energies in Wh; 1 Wh is 3600 J (NIST SP 811, B.8).

Uncertainties are standard uncertainties: a bound of a either way counts as a / sqrt(3), parts are
combined by root sum of squares (JCGM 100, 4.3.7 and 5.1.2).
"""

import math
from dataclasses import dataclass

from firings.calculations.load_weight import Weight

J_PER_WH = 3600.0
ROOM_C = 20.0
# Fireclay brick at room temperature, 753 J/(kg K) (matmake.com refractory table): fired clay is
# much the same stuff. Some 1.2 times as much at 1000 C, evenly on the way: from memory.
FIRED_CLAY_J_PER_KG_K = 753.0
# Cordierite 800 to 850 J/(kg K), rising like fireclay: from memory.
CORDIERITE_J_PER_KG_K = 825.0
HEAT_CAPACITY_RISE_PER_C = 0.2 / 1000
HEAT_CAPACITY_SHARE_EITHER_WAY = 0.1
# Water at 100 C (Lienhard & Lienhard, A Heat Transfer Textbook).
VAPORISATION_J_PER_KG = 2_257_000.0
BOILING_C = 100.0
# Liquid water: 4.19 kJ/(kg K), as in every school table.
WATER_J_PER_KG_K = 4190.0
# What ware that feels dry still holds, by weight: common practice, no source.
FREE_WATER_SHARE = {"bisque": 0.02, "glaze": 0.01}
FREE_WATER_SHARE_EITHER_WAY = 1.0
# Kaolinite loses two waters: 2 x 18.015 / 258.16 of its mass.
KAOLINITE_WATER_SHARE = 2 * 18.015 / 258.16
# How much of a body is kaolinite: common practice, no source.
KAOLINITE_SHARE = 0.45
KAOLINITE_SHARE_EITHER_WAY = 0.45
# The heat of that reaction, 1000 kJ/kg of kaolinite: from memory.
DEHYDROXYLATION_J_PER_KG = 1_000_000.0
# It is over by about 700 C (Izadifar et al., Clays and Clay Minerals, 2020).
DEHYDROXYLATION_OVER_C = 700.0

WARE = "ware"
FURNITURE = "shelves_and_posts"
FREE_WATER = "free_water"
COMBINED_WATER = "combined_water"
REST = "walls_and_losses"


@dataclass(frozen=True)
class FiringHeat:
    """What is known of a firing: its energy with its standard uncertainty, how hot it got, its
    stage ("bisque": raw clay; "glaze": fired once) and what stood in it."""

    energy_wh: int
    uncertainty_wh: int
    peak_c: float
    stage: str
    ware: Weight
    furniture: Weight
    room_c: float = ROOM_C


@dataclass(frozen=True)
class EnergyPart:
    """One part in whole Wh with its standard uncertainty; `share` of the firing's energy."""

    name: str
    energy_wh: int
    uncertainty_wh: int
    share: float


@dataclass(frozen=True)
class EnergyBalance:
    """The parts, which sum to the energy exactly; `known_wh` is all of them but the rest.

    `fits` is False when the estimated parts alone are more than was measured: then there is no
    rest, the parts do not sum to anything, and the weights or the energy are wrong.
    """

    energy_wh: int
    known_wh: int
    fits: bool
    parts: tuple[EnergyPart, ...]
    water_kg: float


def energy_balance(firing: FiringHeat) -> EnergyBalance:
    """Return where the energy went. Raises ValueError for an energy that is not above 0, a stage
    that is none, a peak that is not above the room, and weights below 0.
    """
    _check(firing)
    estimates = {
        WARE: _warmed(firing.ware, FIRED_CLAY_J_PER_KG_K, firing),
        FURNITURE: _warmed(firing.furniture, CORDIERITE_J_PER_KG_K, firing),
        FREE_WATER: _free_water(firing),
        COMBINED_WATER: _combined_water(firing),
    }
    parts = {name: (round(wh), round(either_wh)) for name, (wh, either_wh) in estimates.items()}
    known_wh = sum(wh for wh, _ in parts.values())
    fits = known_wh <= firing.energy_wh
    if fits:
        of_parts_wh = math.hypot(*(either_wh for _, either_wh in parts.values()))
        rest_either_wh = math.hypot(of_parts_wh, firing.uncertainty_wh)
        parts[REST] = (firing.energy_wh - known_wh, round(rest_either_wh))
    return EnergyBalance(
        energy_wh=firing.energy_wh,
        known_wh=known_wh,
        fits=fits,
        parts=tuple(
            EnergyPart(name, wh, either_wh, wh / firing.energy_wh)
            for name, (wh, either_wh) in parts.items()
        ),
        water_kg=_water_kg(firing),
    )


def heat_taken_up_j_per_kg(at_0_j_per_kg_k: float, low_c: float, high_c: float) -> float:
    """The integral of c (1 + r T) from low_c to high_c, in J/kg."""
    mean_c = (low_c + high_c) / 2
    return at_0_j_per_kg_k * (1 + HEAT_CAPACITY_RISE_PER_C * mean_c) * (high_c - low_c)


def _check(firing: FiringHeat) -> None:
    if not firing.energy_wh > 0:
        raise ValueError(f"energy_wh must be above 0, not {firing.energy_wh!r}")
    if firing.stage not in FREE_WATER_SHARE:
        raise ValueError(f"stage must be bisque or glaze, not {firing.stage!r}")
    if not (math.isfinite(firing.peak_c) and firing.peak_c > firing.room_c):
        raise ValueError(f"peak_c {firing.peak_c!r} must be above room_c {firing.room_c!r}")
    for name, weight in (("ware", firing.ware), ("furniture", firing.furniture)):
        if not (weight.kg >= 0 and weight.either_way_kg >= 0):
            raise ValueError(f"{name} must weigh 0 kg or more, not {weight.kg!r}")


def _warmed(weight: Weight, j_per_kg_k: float, firing: FiringHeat) -> tuple[float, float]:
    """Wh that a mass takes up, and its standard uncertainty from weight and heat capacity."""
    wh_per_kg = heat_taken_up_j_per_kg(j_per_kg_k, firing.room_c, firing.peak_c) / J_PER_WH
    wh = weight.kg * wh_per_kg
    bounds = (weight.either_way_kg * wh_per_kg, wh * HEAT_CAPACITY_SHARE_EITHER_WAY)
    return wh, math.hypot(*bounds) / math.sqrt(3)


def _free_water(firing: FiringHeat) -> tuple[float, float]:
    if firing.peak_c < BOILING_C:
        return 0.0, 0.0
    water_kg = firing.ware.kg * FREE_WATER_SHARE[firing.stage]
    warm_j_per_kg = WATER_J_PER_KG_K * (BOILING_C - firing.room_c)
    wh = water_kg * (warm_j_per_kg + VAPORISATION_J_PER_KG) / J_PER_WH
    return wh, wh * FREE_WATER_SHARE_EITHER_WAY / math.sqrt(3)


def _combined_water(firing: FiringHeat) -> tuple[float, float]:
    """Raw clay alone has it; what was fired before has lost it."""
    if firing.stage != "bisque" or firing.peak_c < DEHYDROXYLATION_OVER_C:
        return 0.0, 0.0
    wh = firing.ware.kg * KAOLINITE_SHARE * DEHYDROXYLATION_J_PER_KG / J_PER_WH
    return wh, wh * KAOLINITE_SHARE_EITHER_WAY / math.sqrt(3)


def _water_kg(firing: FiringHeat) -> float:
    kg = firing.ware.kg * FREE_WATER_SHARE[firing.stage]
    if firing.stage == "bisque" and firing.peak_c >= DEHYDROXYLATION_OVER_C:
        kg += firing.ware.kg * KAOLINITE_SHARE * KAOLINITE_WATER_SHARE
    return kg
