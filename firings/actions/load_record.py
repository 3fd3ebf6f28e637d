"""A load as it is written down, as a plan; and a plan written down as a load."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from firings.actions.kiln_space import space_of, standard_shelves
from firings.actions.load_layers import crew_hold, ids_on, locked_on, planned_layer
from firings.actions.load_ware import bundles_for, names_of, queue_pieces, written_bundles
from firings.calculations.bisque_bundles import Bundle
from firings.calculations.footprints import area_mm2
from firings.calculations.kiln_space import KilnSpace
from firings.calculations.load_plan import LeftOut, LoadPiece, LoadPlan, WhyLeftOut
from firings.models import Booking, Firing, FiringPolicy, Layer, LayerHold, Piece, Placement


@dataclass
class StandingLoad:
    """A load as it stood when it was read: the kiln's room, its plan, what crew hold, its pieces.

    `plan` and `held` stay as read while the rows in `layers` are being changed.
    """

    firing: Firing
    bookings: list[Booking]
    space: KilnSpace
    gap_mm: int
    layers: list[Layer]
    holds: list[LayerHold]
    forbidden: frozenset[str] = frozenset()
    bundles: tuple[Bundle, ...] = ()

    @cached_property
    def pieces(self) -> dict[str, Piece]:
        """Every piece of the load's slips, by its id in plans."""
        return {str(piece.pk): piece for one in self.bookings for piece in one.pieces.all()}

    @cached_property
    def names(self) -> dict[str, str]:
        """What sentences call a piece: its name and its slip."""
        return names_of(self.bookings)

    @cached_property
    def load_pieces(self) -> dict[str, LoadPiece]:
        """What stands by itself, by its id in plans: pieces, bundles and booked fractions."""
        wanted = queue_pieces(self.bookings, bundles=self.bundles)
        return {one.id: one.as_load_piece() for one in wanted}

    def standing_in(self, plan: LoadPlan) -> set[str]:
        """Every piece that is in a plan, by itself or with its bundle."""
        ids = {key for layer in plan.layers for key in ids_on(layer)}
        return ids | {key for one in self.bundles if one.id in ids for key in one.rider_ids}

    def __post_init__(self) -> None:
        self.plan = self._plan()
        self.held = crew_hold(self.space, self.layers, self.holds, self.pieces, self.forbidden)

    def _plan(self) -> LoadPlan:
        """Where everything stands; pieces without a place count as left out."""
        layers = tuple(planned_layer(layer) for layer in self.layers)
        placed = {pid for layer in layers for pid in ids_on(layer)}
        out = [key for key in self.load_pieces if key not in placed]
        return LoadPlan(layers, tuple(LeftOut(key, WhyLeftOut.NO_ROOM) for key in out))

    @property
    def area_mm2(self) -> int:
        """The footprints of what stands in the load; booked quarters count as their area."""
        return plan_area_mm2(self.space, self.load_pieces, self.plan)


def standing_load(
    firing: Firing, bookings: Sequence[Booking], *, anew: bool = False
) -> StandingLoad:
    """The load of a firing; give its bookings with `pieces`.

    Bundles are those that are written down. `anew`: those that the studio's rules make, because
    the load is being planned; only slips with something locked keep theirs.
    """
    policy = FiringPolicy.current()
    space = space_of(firing.kiln, policy)
    forbidden = firing.kept_out.values_list("booking__pieces", flat=True)
    layers = list(firing.layers.prefetch_related("placements__piece").order_by("stack", "position"))
    holds = list(firing.holds.all())
    bundles = written_bundles(put for layer in layers for put in layer.placements.all())
    if anew:
        locked = _locked_slips(layers, holds)
        mine = {str(piece.pk): one.pk for one in bookings for piece in one.pieces.all()}
        kept = [bundle for bundle in bundles if mine.get(bundle.id) in locked]
        free = [one for one in bookings if one.pk not in locked]
        bundles = (*kept, *bundles_for(free, space, policy))
    return StandingLoad(
        firing=firing,
        bookings=list(bookings),
        space=space,
        gap_mm=policy.gap_mm(firing.stage),
        layers=layers,
        holds=holds,
        forbidden=frozenset(str(pk) for pk in forbidden if pk),
        bundles=bundles,
    )


def _locked_slips(layers: Sequence[Layer], holds: Sequence[LayerHold]) -> set[int]:
    """The bookings of which something is locked, by itself or with its layer."""
    whole = {(hold.stack, hold.position) for hold in holds if hold.is_whole}
    return {
        put.piece.booking_id
        for layer in layers
        for put in layer.placements.all()
        if put.is_locked or (layer.stack, layer.position) in whole
    }


def plan_area_mm2(space: KilnSpace, pieces: dict[str, LoadPiece], plan: LoadPlan) -> int:
    """The area of what a plan stands on its shelves; booked quarters count as their area."""
    shelves = {stack.name: stack.shelf.area_mm2 for stack in space.stacks}
    taken = 0
    for layer in plan.layers:
        for put in layer.placements:
            footprint = pieces[put.piece_id].footprint
            taken += area_mm2(footprint) if footprint else 0
        quarters = sum(len(of_one) for _, of_one in layer.fractions)
        taken += shelves[layer.stack] * quarters // 4
    return taken


def write_plan(
    firing: Firing,
    plan: LoadPlan,
    *,
    locked: Iterable[str] = (),
    bundles: Iterable[Bundle] = (),
) -> None:
    """Replace the layers and placements of a load; `locked` ids stay locked."""
    Placement.objects.filter(layer__firing=firing).delete()
    firing.layers.all().delete()
    shelves, kept = standard_shelves(firing.kiln), set(locked)
    bundle_of = {bundle.id: bundle for bundle in bundles}
    placements: list[Placement] = []
    for planned in plan.layers:
        pack = planned.cone_pack
        layer = Layer.objects.create(
            firing=firing,
            stack=planned.stack,
            position=planned.index,
            shelf_set=shelves,
            posts_mm=list(planned.post_mm),
            shelf_bottom_mm=planned.shelf_bottom_mm,
            cone_pack=[pack.x_mm, pack.y_mm, pack.turn_deg] if pack else None,
        )
        placements += [
            Placement(
                layer=layer,
                piece_id=int(spot.piece_id),
                x_mm=spot.x_mm,
                y_mm=spot.y_mm,
                turn_deg=spot.turn_deg,
                is_locked=spot.piece_id in kept,
            )
            for spot in planned.placements
        ]
        placements += [
            _rider(layer, bundle, piece_id, spot.x_mm, spot.y_mm, spot.turn_deg)
            for spot in planned.placements
            if (bundle := bundle_of.get(spot.piece_id))
            for piece_id in bundle.rider_ids
        ]
        placements += [
            Placement(
                layer=layer,
                piece_id=int(piece_id),
                quadrants=list(taken),
                is_locked=piece_id in kept,
            )
            for piece_id, taken in planned.fractions
        ]
    Placement.objects.bulk_create(placements)


def _rider(
    layer: Layer, bundle: Bundle, piece_id: str, x_mm: float, y_mm: float, turn_deg: float
) -> Placement:
    """The place of a piece that stands in or on the carrier of its bundle, or beside it on edge."""
    return Placement(
        layer=layer,
        piece_id=int(piece_id),
        x_mm=x_mm,
        y_mm=y_mm,
        turn_deg=turn_deg,
        carried_by_id=int(bundle.id),
        stands=bundle.kind.value,
    )


def locked_ids(load: StandingLoad) -> set[str]:
    """The pieces that are locked one by one, not those of a layer locked as a whole."""
    return locked_on(load.layers)


def where_everything_stands(firing: Firing) -> dict[str, list[object]]:
    """{piece id: [slip, stack, position, x_mm, y_mm]}, to compare a later load with."""
    rows = Placement.objects.filter(layer__firing=firing).values_list(
        "piece_id", "piece__booking__slip", "layer__stack", "layer__position", "x_mm", "y_mm"
    )
    return {str(piece): list(rest) for piece, *rest in rows}


def load_was_changed(firing: Firing) -> None:
    """Count a change of the load; a search that is under way sees it and ends. Firing locked."""
    firing.load_revision += 1
    firing.save(update_fields=["load_revision"])
