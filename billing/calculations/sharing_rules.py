"""A studio's own rules of sharing: what of a pool all carry alike, and how height counts.

All numbers are whole: minor units, mm2, mm. Nothing here rounds but where it says so.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from billing.calculations.splitting import largest_remainder

FixedKind = Literal["none", "percent", "amount"]
PERCENT_MAX = 100


@dataclass(frozen=True)
class FixedPart:
    """What heating the empty kiln is taken to cost: nothing, a percentage of a firing's
    electricity, or an estimate in minor units."""

    kind: FixedKind = "none"
    percent: int = 0
    estimate_minor: int = 0

    def __post_init__(self) -> None:
        if self.kind not in ("none", "percent", "amount"):
            raise ValueError(f"kind must be 'none', 'percent' or 'amount', not {self.kind!r}")
        if not 0 <= self.percent <= PERCENT_MAX:
            raise ValueError(f"percent must lie between 0 and 100, but is {self.percent}")
        if self.estimate_minor < 0:
            raise ValueError(f"estimate_minor must not be negative, but is {self.estimate_minor}")


def fixed_minor(part: FixedPart, energy_minor: int) -> int:
    """The part of a firing's electricity that all bookings carry alike, in minor units.

    A percentage is rounded with halves towards the fixed part; an estimate is never more than
    the electricity did cost. Raises ValueError for a negative cost.
    """
    if energy_minor < 0:
        raise ValueError(f"energy_minor must not be negative, but is {energy_minor}")
    if part.kind == "percent":
        parts = largest_remainder(
            energy_minor, [(0, part.percent), (1, PERCENT_MAX - part.percent)]
        )
        return parts[0]
    if part.kind == "amount":
        return min(part.estimate_minor, energy_minor)
    return 0


@dataclass(frozen=True)
class StoodOn:
    """How a booking stands in a load: its charged area, and its pieces' areas by layer."""

    booking_number: int
    area_mm2: int
    pieces_mm2: Mapping[int, int]


@dataclass(frozen=True)
class OnLayer:
    """The part of a booking's charged area on one layer, and the height above that shelf."""

    layer: int
    area_mm2: int
    height_mm: int

    @property
    def weight_mm3(self) -> int:
        return self.area_mm2 * self.height_mm


def areas_on_layers(
    bookings: Sequence[StoodOn], heights_mm: Mapping[int, int]
) -> dict[int, tuple[OnLayer, ...]] | None:
    """Where the charged area of each booking lies: with the heights, what it weighs.

    A booking on several layers has its charged area shared out over them by the areas of its
    pieces there (largest remainder, ties to the lower layer). None where a booking's layers or
    their heights are not known: the whole firing is then split by area, for one booking without a
    height cannot be compared with others that have one.
    """
    found: dict[int, tuple[OnLayer, ...]] = {}
    for booking in bookings:
        standing = [(layer, mm2) for layer, mm2 in sorted(booking.pieces_mm2.items()) if mm2]
        if not standing or any(heights_mm.get(layer, 0) <= 0 for layer, _ in standing):
            return None
        parts = largest_remainder(booking.area_mm2, standing)
        found[booking.booking_number] = tuple(
            OnLayer(layer, mm2, heights_mm[layer]) for layer, mm2 in parts.items()
        )
    return found


def layer_heights(
    shelves: Sequence[tuple[int, int, int]], chamber_height_mm: int
) -> dict[int, int]:
    """The height above each shelf of one stack: to the next shelf, or to the chamber's top.

    `shelves` are (layer, underside in mm from the floor, thickness in mm), in any order. 0 or
    less where a shelf leaves no room, as when nobody noted how it stood.
    """
    in_order = sorted(shelves, key=lambda shelf: shelf[1])
    tops = [under_mm for _, under_mm, _ in in_order[1:]] + [chamber_height_mm]
    return {
        layer: top_mm - under_mm - thickness_mm
        for (layer, under_mm, thickness_mm), top_mm in zip(in_order, tops, strict=True)
    }
