"""What goes into a load, and where everything stands: the records of the load planner.

All lengths are mm. Seen from above, the middle of the chamber is (0, 0), x goes right and y goes
back; heights count from the chamber's floor.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from fractions import Fraction
from typing import Any

from firings.calculations.footprints import (
    SHELF_FRACTIONS,
    Footprint,
    Rectangle,
    check_size_mm,
)
from firings.calculations.kiln_space import SizeLimit

# A row of self-supporting witness cones on a strip of clay, with room to see it and to lift it
# out. Common practice, no source.
CONE_PACK = Rectangle(width_mm=90, depth_mm=40)
CONE_PACK_HEIGHT_MM = 75

QUARTERS = 4


@dataclass(frozen=True, slots=True)
class LoadPiece:
    """One thing to find room for: a piece with a footprint, or a booked fraction of a shelf.

    `order`: first come, first served; the pieces of one booking may share it. A booking of a
    quarter, half or full shelf has `fraction` and no footprint; `height_mm` is then the height
    that its ware may have.
    """

    id: str
    footprint: Footprint | None
    height_mm: int
    order: int
    fraction: Fraction | None = None

    def __post_init__(self) -> None:
        check_size_mm("height_mm", self.height_mm)
        if (self.footprint is None) == (self.fraction is None):
            raise ValueError(f"{self.id}: give either a footprint or a fraction of a shelf")
        if self.fraction is not None and self.fraction not in SHELF_FRACTIONS.values():
            raise ValueError(f"fraction must be a quarter, half or full shelf, got {self.fraction}")

    @property
    def quarters(self) -> int:
        """How many quarters of one shelf a booked fraction takes; 0 for a piece."""
        return 0 if self.fraction is None else int(self.fraction * QUARTERS)


@dataclass(frozen=True, slots=True)
class Placement:
    """Where the middle of a footprint stands. `turn_deg` counts counter-clockwise."""

    piece_id: str
    x_mm: float
    y_mm: float
    turn_deg: float = 0


@dataclass(frozen=True, slots=True)
class PlannedLayer:
    """One shelf of a tower with what stands on it.

    `index` is 1 for the lowest shelf. `post_mm`: the posts under the shelf, on top of each other.
    `shelf_bottom_mm`: the height of the shelf's underside. `cone_pack`: where the witness cones
    stand. `fractions`: booked quarters as (piece id, quarters), counted counter-clockwise from the
    right back: 0 right back, 1 left back, 2 left front, 3 right front.
    """

    stack: str
    index: int
    post_mm: tuple[int, ...]
    shelf_bottom_mm: int
    placements: tuple[Placement, ...]
    fractions: tuple[tuple[str, tuple[int, ...]], ...] = ()
    cone_pack: Placement | None = None


class WhyLeftOut(StrEnum):
    """Why a piece is not in a load."""

    TOO_BIG = "too_big"
    NO_ROOM = "no_room"
    NO_ROOM_FOR_CONES = "no_room_for_cones"
    TOO_TALL_BESIDE_LOCKED = "too_tall_beside_locked"
    WRONG_CONE = "wrong_cone"
    NOT_DRY = "not_dry"
    FORBIDDEN = "forbidden"
    GROUP_HAS_NO_ROOM = "group_has_no_room"


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A piece that is not in the load, and why; `limits` are those that a too big one breaks.

    `no_room_for_cones`: in an otherwise empty kiln it goes in, but no cone pack beside it.
    """

    piece_id: str
    why: WhyLeftOut
    limits: tuple[SizeLimit, ...] = ()


@dataclass(frozen=True, slots=True)
class LoadPlan:
    """Layers tower by tower from the bottom up, what found no room, and warnings for the crew."""

    layers: tuple[PlannedLayer, ...]
    left_out: tuple[LeftOut, ...]
    warnings: tuple[str, ...] = ()


def layers_to_json(layers: Sequence[PlannedLayer]) -> list[Any]:
    """The layers of a plan as JSON can carry them."""
    return [
        [
            layer.stack,
            layer.index,
            list(layer.post_mm),
            layer.shelf_bottom_mm,
            [[put.piece_id, put.x_mm, put.y_mm, put.turn_deg] for put in layer.placements],
            [[piece_id, list(quarters)] for piece_id, quarters in layer.fractions],
            [layer.cone_pack.x_mm, layer.cone_pack.y_mm, layer.cone_pack.turn_deg]
            if layer.cone_pack
            else None,
        ]
        for layer in layers
    ]


def layers_from_json(rows: Sequence[Any]) -> tuple[PlannedLayer, ...]:
    """The layers that `layers_to_json` gave."""
    return tuple(
        PlannedLayer(
            stack,
            index,
            tuple(post_mm),
            shelf_bottom_mm,
            tuple(Placement(*put) for put in placements),
            tuple((piece_id, tuple(quarters)) for piece_id, quarters in fractions),
            Placement("", *pack) if pack else None,
        )
        for stack, index, post_mm, shelf_bottom_mm, placements, fractions, pack in rows
    )


def quarter_choices(count: int) -> tuple[tuple[int, ...], ...]:
    """The ways to take 1, 2 or 4 quarters of a shelf; two are always neighbours."""
    if count == 1:
        return tuple((quarter,) for quarter in range(QUARTERS))
    if count == 2:
        return tuple((quarter, (quarter + 1) % QUARTERS) for quarter in range(QUARTERS))
    if count == QUARTERS:
        return (tuple(range(QUARTERS)),)
    raise ValueError(f"count must be 1, 2 or {QUARTERS} quarters, got {count}")
