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


def height_weights(
    bookings: Sequence[StoodOn], heights_mm: Mapping[int, int]
) -> dict[int, int] | None:
    """Weights in mm3 by booking: charged area x height of the layer it stood on.

    A booking on several layers has its charged area shared out over them by the areas of its
    pieces there (largest remainder, ties to the lower layer). None where a booking's layers are
    not known: the whole firing is then split by area, for one booking without a height would be
    compared with others that have one. Raises ValueError for a layer without a height.
    """
    weights: dict[int, int] = {}
    for booking in bookings:
        on_layers = [(layer, mm2) for layer, mm2 in sorted(booking.pieces_mm2.items()) if mm2]
        if not on_layers:
            return None
        weights[booking.booking_number] = 0
        for layer, mm2 in largest_remainder(booking.area_mm2, on_layers).items():
            if heights_mm.get(layer, 0) <= 0:
                raise ValueError(f"heights_mm of layer {layer} must be more than 0")
            weights[booking.booking_number] += mm2 * heights_mm[layer]
    return weights


def layer_heights(
    shelves: Sequence[tuple[int, int, int]], chamber_height_mm: int
) -> dict[int, int]:
    """The height above each shelf of one stack: to the next shelf, or to the chamber's top.

    `shelves` are (layer, underside in mm from the floor, thickness in mm), in any order. Raises
    ValueError where a shelf leaves no room above it.
    """
    in_order = sorted(shelves, key=lambda shelf: shelf[1])
    tops = [under_mm for _, under_mm, _ in in_order[1:]] + [chamber_height_mm]
    heights: dict[int, int] = {}
    for (layer, under_mm, thickness_mm), top_mm in zip(in_order, tops, strict=True):
        heights[layer] = top_mm - under_mm - thickness_mm
        if heights[layer] <= 0:
            raise ValueError(f"shelves leave no room above layer {layer}")
    return heights
