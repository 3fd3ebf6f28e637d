"""The load planner: tallest first, shelf by shelf, in the first free place from the front.

`plan_load` fills one kiln for one firing. When everything fits, everything is in the plan. When
not, the pieces that came first are kept: the longest run of `order` that fits as a whole, and then
later pieces, in order, where there is still room. The same input gives the same plan.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from firings.calculations.footprints import area_mm2, check_gap_mm
from firings.calculations.growing_load import (
    GrowingLoad,
    LayerMaker,
    Tower,
    first_come_first,
    tallest_first,
    without,
)
from firings.calculations.kiln_space import KilnSpace, check_footprint_fits, lowest_posts
from firings.calculations.load_plan import (
    QUARTERS,
    LeftOut,
    LoadPiece,
    LoadPlan,
    WhyLeftOut,
)
from firings.calculations.shelf_grid import ShelfGrid
from firings.calculations.shelf_layer import ShelfLayer


def plan_load(
    space: KilnSpace, pieces: Sequence[LoadPiece], gap_mm: float, cone_pack_layers: int = 1
) -> LoadPlan:
    """Plan one load.

    `gap_mm`: clear distance between two pieces. `cone_pack_layers`: how many layers, from the
    bottom up, carry a pack of witness cones; layers that are wholly booked need none. Raises
    ValueError for an id that comes twice, a gap out of range or a negative `cone_pack_layers`.
    """
    _check_input(pieces, gap_mm, cone_pack_layers)
    too_big = _too_big(space, pieces)
    barred = {left_out.piece_id for left_out in too_big}
    wanted = [piece for piece in pieces if piece.id not in barred]
    packer = _packer(space, gap_mm, cone_pack_layers)
    load = packer.pack_fairly(wanted)
    waiting = [piece for piece in wanted if piece.id not in load.placed_ids]
    left_out = (*too_big, *packer.say_why(waiting))
    return LoadPlan(load.planned_layers(), left_out, load.warnings(cone_pack_layers))


def fits(
    space: KilnSpace, pieces: Sequence[LoadPiece], gap_mm: float, cone_pack_layers: int = 1
) -> bool:
    """Whether the planner finds room for all the pieces, and their cone packs, in one load.

    It never says yes to a load that cannot be made; it may say no to one that a patient person
    could still make.
    """
    _check_input(pieces, gap_mm, cone_pack_layers)
    if _too_big(space, pieces):
        return False
    return _packer(space, gap_mm, cone_pack_layers).pack_whole(pieces, with_cones=True) is not None


def _packer(space: KilnSpace, gap_mm: float, cone_pack_layers: int) -> "_Packer":
    grids = {
        stack.name: ShelfGrid(space.ware_outline(stack), stack.shelf.bounds_mm, gap_mm)
        for stack in space.stacks
    }
    return _Packer(space, grids, cone_pack_layers)


def _check_input(pieces: Sequence[LoadPiece], gap_mm: float, cone_pack_layers: int) -> None:
    check_gap_mm("gap_mm", gap_mm)
    if cone_pack_layers < 0:
        raise ValueError(f"cone_pack_layers must be 0 or more, got {cone_pack_layers}")
    seen: set[str] = set()
    for piece in pieces:
        if piece.id in seen:
            raise ValueError(f"pieces must have different ids, got {piece.id!r} twice")
        seen.add(piece.id)


def _too_big(space: KilnSpace, pieces: Sequence[LoadPiece]) -> tuple[LeftOut, ...]:
    refused = []
    for piece in pieces:
        limits = check_footprint_fits(space, piece.footprint, piece.height_mm)
        if limits:
            refused.append(LeftOut(piece.id, WhyLeftOut.TOO_BIG, limits))
    return tuple(refused)


def _shelf_share_mm2(space: KilnSpace, piece: LoadPiece) -> float:
    """The least shelf area a piece takes, whichever tower it stands in."""
    if piece.footprint is not None:
        return area_mm2(piece.footprint)
    return min(s.shelf.area_mm2 for s in space.stacks) * piece.quarters / QUARTERS


def _could_fit(space: KilnSpace, pieces: Sequence[LoadPiece]) -> bool:
    """A cheap bound: False when the footprints alone are larger than all the shelves."""
    shelves_mm2 = sum(stack.shelf.area_mm2 * stack.shelves_count for stack in space.stacks)
    return sum(_shelf_share_mm2(space, piece) for piece in pieces) <= shelves_mm2


@dataclass
class _Packer:
    space: KilnSpace
    grids: dict[str, ShelfGrid]
    cone_packs: int

    def pack_fairly(self, pieces: Sequence[LoadPiece]) -> GrowingLoad:
        """Keep the longest run of orders that fits as a whole, then fill up with later pieces.

        Cone packs may shorten that run, but never down to nothing: then they are left out, and
        the load carries a warning.
        """
        best, kept = self._longest_run(pieces, with_cones=True)
        if not kept and self.cone_packs:
            best, kept = self._longest_run(pieces, with_cones=False)
        waiting = [piece for piece in pieces if piece.order not in kept]
        if best is not None and not waiting:
            return best
        return self._pack([piece for piece in pieces if piece.order in kept], waiting)

    def _longest_run(
        self, pieces: Sequence[LoadPiece], with_cones: bool
    ) -> tuple[GrowingLoad | None, set[int]]:
        """Halve the number of orders until the last one that still fits is found."""
        orders = sorted({piece.order for piece in pieces})
        kept, refused, trial = 0, len(orders) + 1, len(orders)
        best = None
        while refused - kept > 1:
            first = set(orders[:trial])
            run = [piece for piece in pieces if piece.order in first]
            load = self.pack_whole(run, with_cones)
            if load is None:
                refused = trial
            else:
                kept, best = trial, load
            trial = (kept + refused) // 2
        return best, set(orders[:kept])

    def say_why(self, waiting: Sequence[LoadPiece]) -> list[LeftOut]:
        """Why each piece that found no place stays out; alike pieces are looked at once."""
        seen: dict[object, WhyLeftOut] = {}
        for piece in waiting:
            size = (piece.footprint, piece.fraction, piece.height_mm)
            if size not in seen:
                is_barred = bool(self.cone_packs) and not self.pack_whole([piece], with_cones=True)
                seen[size] = WhyLeftOut.NO_ROOM_FOR_CONES if is_barred else WhyLeftOut.NO_ROOM
        return [
            LeftOut(piece.id, seen[piece.footprint, piece.fraction, piece.height_mm])
            for piece in waiting
        ]

    def pack_whole(self, pieces: Sequence[LoadPiece], with_cones: bool) -> GrowingLoad | None:
        """A load with every one of these pieces, and with every cone pack if asked; or None."""
        if not _could_fit(self.space, pieces):
            return None
        for cones_first in (False, True):
            load = self._fill(pieces, (), cones_first)
            if load.must:
                return None
            if not with_cones or not load.missing_cone_packs(self.cone_packs):
                return load
        return None

    def _pack(self, must: Sequence[LoadPiece], may: Sequence[LoadPiece]) -> GrowingLoad:
        """The kept pieces and what else finds room, with the cone packs if that can be."""

        def shortcomings(load: GrowingLoad) -> tuple[int, bool, int]:
            missing = load.missing_cone_packs(self.cone_packs)
            return len(load.must), not load.placed_ids, missing

        loads = [self._fill(must, may, cones_first) for cones_first in (False, True)]
        return min(loads, key=shortcomings)

    def _fill(
        self, must: Sequence[LoadPiece], may: Sequence[LoadPiece], cones_first: bool
    ) -> GrowingLoad:
        kiln = GrowingLoad(
            self.space,
            [Tower(stack) for stack in self.space.stacks],
            sorted(must, key=tallest_first),
            sorted(may, key=first_come_first),
        )
        while kiln.must or kiln.may:
            # The tower that has grown least is next, so that halves grow evenly.
            ready = [
                (bottom[1], number, tower, bottom)
                for number, tower in enumerate(kiln.towers)
                if (bottom := tower.next_bottom_mm(self.space)) is not None
            ]
            if not ready:
                break
            _, _, tower, (posts, bottom_mm) = min(ready, key=lambda choice: choice[:2])
            self._add_layer(kiln, tower, posts, bottom_mm, cones_first)
        self._drop_idle_shelves(kiln)
        return kiln

    def _drop_idle_shelves(self, kiln: GrowingLoad) -> None:
        """Take away top shelves that carry only cones when the load has enough without them."""
        for tower in kiln.towers:
            while tower.layers and not tower.layers[-1].pieces:
                idle = tower.layers.pop()
                if kiln.missing_cone_packs(self.cone_packs):
                    tower.layers.append(idle)
                    break

    def _add_layer(
        self,
        kiln: GrowingLoad,
        tower: Tower,
        posts: tuple[int, ...],
        bottom_mm: int,
        cones_first: bool,
    ) -> None:
        """Put the next shelf into a tower: one that carries another, or else the top one."""
        wants_cones = sum(bool(layer.cone_pack) for layer in kiln.layers) < self.cone_packs
        make = LayerMaker(
            self.grids[tower.stack.name], kiln, tower, posts, bottom_mm, wants_cones, cones_first
        )
        carrying = make.layer(carries=True) if self._may_carry(tower) else None
        if carrying is not None and not carrying.is_empty:
            waiting = without(kiln.must, carrying)
            if waiting:
                top = make.layer(carries=False)
                ends = not self._leaves_room(carrying, waiting)
                if ends or not without(kiln.must, top):
                    self._close_with(kiln, tower, top)
                    return
            self._accept(kiln, tower, carrying)
            return
        top = make.layer(carries=False)
        if top.pieces:
            self._close_with(kiln, tower, top)
        else:
            self._close_without_top(kiln, tower)

    def _may_carry(self, tower: Tower) -> bool:
        return tower.stack.can_carry and len(tower.layers) + 1 < tower.stack.shelves_count

    def _leaves_room(self, layer: ShelfLayer, waiting: Sequence[LoadPiece]) -> bool:
        """Whether a shelf above this layer has the height for the lowest of the waiting pieces."""
        posts = lowest_posts(self.space, layer.height_mm + self.space.gap_above_mm)
        if posts is None:
            return False
        lowest_mm = min(piece.height_mm for piece in waiting)
        return lowest_mm <= layer.most_mm - sum(posts) - layer.stack.shelf.thickness_mm

    def _accept(self, kiln: GrowingLoad, tower: Tower, layer: ShelfLayer) -> None:
        tower.layers.append(layer)
        kiln.strike_off(layer)

    def _close_with(self, kiln: GrowingLoad, tower: Tower, top: ShelfLayer) -> None:
        self._accept(kiln, tower, top)
        tower.is_closed = True

    def _close_without_top(self, kiln: GrowingLoad, tower: Tower) -> None:
        """End a tower: nothing fits above, so its last shelf can use all height up to the lid."""
        tower.is_closed = True
        if not tower.layers:
            return
        last = tower.layers.pop()
        own = {piece.id for piece in last.pieces}
        was_must, was_may = kiln.must, kiln.may
        kiln.must = sorted([*was_must, *last.pieces], key=tallest_first)
        make = LayerMaker(
            self.grids[tower.stack.name],
            kiln,
            tower,
            last.posts,
            last.bottom_mm,
            last.cone_pack is not None,
            True,
        )
        top = make.layer(carries=False)
        if own <= {piece.id for piece in top.pieces}:
            self._accept(kiln, tower, top)
        else:
            tower.layers.append(last)
            kiln.must, kiln.may = was_must, was_may
