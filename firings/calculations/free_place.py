"""A free place for one piece on a layer as it stands, nearest to where it is wanted.

Lengths are mm. The shelf is looked over on a grid; what the quick look by inner circles lets pass
is measured exactly, with the geometry of the check.
"""

import math
from collections.abc import Iterator, Mapping, Sequence

import numpy as np

from firings.calculations.footprints import Disc, Footprint
from firings.calculations.held_check import kept_thing
from firings.calculations.kiln_space import KilnSpace, Stack
from firings.calculations.load_plan import LoadPiece, LoadPlan, Placement, PlannedLayer
from firings.calculations.plan_geometry import (
    TOLERANCE_MM,
    Names,
    Thing,
    beyond_mm,
    core_distance_mm,
    core_of,
    head_room_mm,
    quarter_core,
    things_on,
)
from firings.calculations.planning.problem import Held

GRID_MM = 4
# So many places are measured exactly before the layer counts as full.
MEASURED_AT_MOST = 400
NOBODY = Names({})


def free_place(
    space: KilnSpace,
    pieces: Mapping[str, LoadPiece],
    plan: LoadPlan,
    piece: LoadPiece,
    gap_mm: float,
    *,
    stack: str,
    index: int,
    near_mm: tuple[float, float] | None = None,
    held: Held | None = None,
) -> Placement | None:
    """Where `piece` finds room on the `index`-th layer of a tower; None when it finds none.

    A rectangle is tried as it is and turned by 90 degrees. `pieces` must know everything that
    stands in the plan. A layer that is locked as a whole has no free place. Raises ValueError for
    a layer that is not in the plan, or a piece without a footprint.
    """
    layer = next((la for la in plan.layers if (la.stack, la.index) == (stack, index)), None)
    tower = next((one for one in space.stacks if one.name == stack), None)
    if layer is None or tower is None:
        raise ValueError(f"plan has no layer {index} of {stack}")
    if piece.footprint is None:
        raise ValueError(f"piece {piece.id} is a booked part of a shelf and has no footprint")
    look = _Look(space, pieces, plan, piece, gap_mm, tower, layer, held or Held())
    return look.nearest(near_mm)


class _Look:
    """One look over one layer for one piece."""

    def __init__(
        self,
        space: KilnSpace,
        pieces: Mapping[str, LoadPiece],
        plan: LoadPlan,
        piece: LoadPiece,
        gap_mm: float,
        stack: Stack,
        layer: PlannedLayer,
        held: Held,
    ) -> None:
        self.space, self.stack, self.layer, self.piece = space, stack, layer, piece
        self.gap_mm = gap_mm
        above = next(
            (o for o in plan.layers if (o.stack, o.index) == (layer.stack, layer.index + 1)), None
        )
        self.is_carrying = above is not None
        self.free_mm = head_room_mm(space, stack, layer, above)
        hold = next(
            (h for h in held.layers if (h.stack, h.index) == (layer.stack, layer.index)), None
        )
        self.is_closed = bool(hold and hold.is_whole)
        rooms = [kept_thing(room, stack, layer) for room in hold.keep_free] if hold else []
        self.obstacles = [*self._others(plan, pieces), *rooms]
        self.booked = [
            quarter_core(stack.shelf, quarter)
            for _, quarters in layer.fractions
            for quarter in quarters
        ]

    def _others(self, plan: LoadPlan, pieces: Mapping[str, LoadPiece]) -> Iterator[Thing]:
        """What stands at the same height, on this layer or on the tower beside it."""
        known = {key: one for key, one in pieces.items() if key != self.piece.id}
        low_mm = self.layer.shelf_bottom_mm + self.stack.shelf.thickness_mm
        stacks = {stack.name: stack for stack in self.space.stacks}
        for layer in plan.layers:
            for thing in things_on(stacks[layer.stack], layer, known, NOBODY):
                if thing.low_mm < low_mm + self.piece.height_mm and (
                    low_mm < thing.low_mm + thing.height_mm
                ):
                    yield thing

    def nearest(self, near_mm: tuple[float, float] | None) -> Placement | None:
        footprint = self.piece.footprint
        if footprint is None or self.is_closed or self.piece.height_mm > self.free_mm:
            return None
        left, front, right, back = self.stack.shelf.bounds_mm
        middle = near_mm or ((left + right) / 2, (front + back) / 2)
        places = self._open_places(_inner_radius_mm(footprint), middle)
        turns = (0,) if isinstance(footprint, Disc) else (0, 90)
        for x_mm, y_mm in places[:MEASURED_AT_MOST]:
            for turn_deg in turns:
                put = Placement(self.piece.id, float(x_mm), float(y_mm), turn_deg)
                if self._is_free(footprint, put):
                    return put
        return None

    def _open_places(
        self, inner_mm: float, middle: tuple[float, float]
    ) -> Sequence[Sequence[float]]:
        """Places where the piece's inner circle hits no other's, the nearest first."""
        left, front, right, back = self.stack.shelf.bounds_mm
        xs = np.arange(math.ceil(left + inner_mm), right - inner_mm + 0.5, GRID_MM)
        ys = np.arange(math.ceil(front + inner_mm), back - inner_mm + 0.5, GRID_MM)
        x, y = (side.ravel() for side in np.meshgrid(xs, ys))
        is_open = np.ones(x.shape, dtype=bool)
        for thing in self.obstacles:
            middle_x, middle_y = np.mean(thing.core, axis=0)
            reach = inner_mm + _inner_of(thing) + self.gap_mm
            is_open &= np.hypot(x - middle_x, y - middle_y) >= reach - TOLERANCE_MM
        x, y = x[is_open], y[is_open]
        order = np.argsort(np.hypot(x - middle[0], y - middle[1]), kind="stable")
        return np.column_stack((x[order], y[order])).tolist()

    def _is_free(self, footprint: Footprint, put: Placement) -> bool:
        core, radius_mm = core_of(footprint, put)
        thing = Thing("", core, radius_mm, 0, self.piece.height_mm, "")
        if beyond_mm(self.stack.shelf, thing) > 0:
            return False
        if beyond_mm(self.space.chamber, thing) + self.space.keep_from_wall_mm > 0:
            return False
        if self.is_carrying and not self._clears_posts(thing):
            return False
        if any(core_distance_mm(core, q) - radius_mm < self.gap_mm / 2 for q in self.booked):
            return False
        return all(
            core_distance_mm(core, other.core) - radius_mm - other.radius_mm >= self.gap_mm
            for other in self.obstacles
        )

    def _clears_posts(self, thing: Thing) -> bool:
        needed_mm = self.space.post_width_mm / 2 + self.space.gap_to_posts_mm + thing.radius_mm
        return all(
            core_distance_mm(thing.core, (place,)) >= needed_mm
            for place in self.stack.post_places_mm
        )


def _inner_radius_mm(footprint: Footprint) -> float:
    if isinstance(footprint, Disc):
        return footprint.diameter_mm / 2
    return min(footprint.width_mm, footprint.depth_mm) / 2


def _inner_of(thing: Thing) -> float:
    """The radius of a circle around the middle that lies within the thing."""
    if len(thing.core) == 1:
        return thing.radius_mm
    sides = [math.dist(thing.core[0], thing.core[1]), math.dist(thing.core[1], thing.core[2])]
    return min(sides) / 2
