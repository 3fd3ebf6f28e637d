"""Three invented kilns: what their plates say, what wears in them, and how they are logged."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from billing.demo.scene import Scene
from firings.actions.kilns import ShelvesWanted, add_kiln, add_part, issue_kiln_token
from firings.calculations.kiln_simulation import SimulatedKiln, round_kiln
from firings.models import Kiln

# kind, name, cost in cents, unit of life, expected life
Part = tuple[str, str, int, str, str]


@dataclass(frozen=True)
class KilnPlate:
    """A kiln of the story. `offset_c` is how much its thermocouple reads too high."""

    fields: dict[str, Any]
    shelves: ShelvesWanted
    parts: tuple[Part, ...]
    body: SimulatedKiln
    logged: str
    sample_minutes: int
    offset_c: float
    logger: str = ""
    register_wh: int = 0

    @property
    def name(self) -> str:
        return str(self.fields["name"])


PIPIT = KilnPlate(
    fields={
        "name": "Pipit",
        "room": "Kiln room",
        "chamber_shape": "round",
        "chamber_across_mm": 450,
        "chamber_height_mm": 570,
        "rated_power_w": 6_200,
        "supply_v": 240,
        "breaker_a": 40,
        "vent": "none",
        "cone_limit": "10",
        "post_heights_mm": [13, 25, 51, 76, 102, 127, 152],
        "note": "Small loads and cone 10 tests.",
    },
    shelves=ShelvesWanted(shape="round", across_mm=394, thickness_mm=16, count=5),
    parts=(
        ("element", "Elements", 32_000, "weighted_hours", "650"),
        ("relay", "Relays", 9_600, "firings", "350"),
        ("thermocouple", "Thermocouple", 4_800, "weighted_hours", "900"),
        ("shelf", "Shelves", 18_500, "firings", "300"),
        ("kiln_wash", "Kiln wash", 2_400, "firings", "40"),
    ),
    body=round_kiln(450, 570, rated_power_w=6_200, shelves_kg=13),
    logged="duty",
    sample_minutes=6,
    offset_c=2.0,
    logger="Logger on Pipit's controller",
)
BITTERN = KilnPlate(
    fields={
        "name": "Bittern",
        "room": "Kiln room",
        "chamber_shape": "octagon",
        "chamber_across_mm": 710,
        "chamber_height_mm": 690,
        "rated_power_w": 11_800,
        "supply_v": 240,
        "breaker_a": 70,
        "vent": "downdraft",
        "cone_limit": "10",
        "post_heights_mm": [13, 25, 51, 76, 102, 127, 152, 203],
        "note": "Half shelves: two towers with heights of their own.",
    },
    shelves=ShelvesWanted(shape="half_round", across_mm=650, thickness_mm=19, count=10),
    parts=(
        ("element", "Elements", 68_000, "weighted_hours", "700"),
        ("relay", "Relays", 14_400, "firings", "350"),
        ("thermocouple", "Thermocouples of three zones", 11_400, "weighted_hours", "900"),
        ("shelf", "Half shelves", 62_000, "firings", "300"),
        ("kiln_wash", "Kiln wash", 3_600, "firings", "40"),
        ("brick", "Lid and floor bricks", 54_000, "firings", "900"),
    ),
    body=round_kiln(730, 690, rated_power_w=11_800, shelves_kg=42),
    logged="power",
    sample_minutes=10,
    offset_c=-8.0,
    logger="Meter and thermocouples on Bittern",
)
CURLEW = KilnPlate(
    fields={
        "name": "Curlew",
        "room": "Annexe",
        "chamber_shape": "rectangle",
        "chamber_across_mm": 610,
        "chamber_depth_mm": 560,
        "chamber_height_mm": 680,
        "rated_power_w": 10_500,
        "supply_v": 240,
        "breaker_a": 60,
        "vent": "hood",
        "cone_limit": "7",
        "post_heights_mm": [13, 25, 51, 76, 102, 127, 152, 203],
        "note": "Front-loading, with a door. No logger: read the pyrometer and the meter.",
    },
    shelves=ShelvesWanted(shape="rectangle", across_mm=510, depth_mm=460, thickness_mm=19, count=5),
    # Nobody logs its hours at temperature, so life is counted in firings.
    parts=(
        ("element", "Elements", 59_000, "firings", "190"),
        ("relay", "Contactors", 12_800, "firings", "400"),
        ("shelf", "Shelves", 41_000, "firings", "300"),
        ("kiln_wash", "Kiln wash", 3_200, "firings", "40"),
    ),
    body=round_kiln(660, 680, rated_power_w=10_500, shelves_kg=34, wall_mm=87.5),
    logged="by hand",
    sample_minutes=10,
    offset_c=0.0,
    register_wh=48_211_400,
)
PLATES = (PIPIT, BITTERN, CURLEW)
PARTS_FITTED_BEFORE = timedelta(days=45)


def set_up_kilns(scene: Scene, at: datetime) -> dict[str, Kiln]:
    """The manager adds the kilns, what wears in them, and a key for Pipit's logger."""
    kilns = {}
    for plate in PLATES:
        kiln = add_kiln(
            by=scene.manager,
            at=at,
            shelves=plate.shelves,
            fields={**plate.fields, "in_use_since": scene.first_day},
        )
        for kind, name, cost_minor, life_unit, life in plate.parts:
            add_part(
                by=scene.manager,
                at=at,
                kiln=kiln,
                kind=kind,
                name=name,
                replacement_cost_minor=cost_minor,
                life_unit=life_unit,
                expected_life=Decimal(life),
                fitted_on=scene.first_day - PARTS_FITTED_BEFORE,
            )
        kilns[plate.name] = kiln
    issue_kiln_token(by=scene.manager, at=at, kiln=kilns[PIPIT.name], name=PIPIT.logger)
    return kilns
