"""A load as it is written down, as a plan; and a plan written down as a load."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property

from firings.actions.kiln_space import footprint_of, fraction_of, space_of, standard_shelves
from firings.calculations.footprints import Rectangle, area_mm2
from firings.calculations.kiln_space import KilnSpace
from firings.calculations.load_plan import (
    LeftOut,
    LoadPiece,
    LoadPlan,
    PlannedLayer,
    WhyLeftOut,
)
from firings.calculations.load_plan import Placement as Place
from firings.calculations.planning.problem import (
    Held,
    HeldLayer,
    KeptFree,
    LoadRule,
    QueuePiece,
)
from firings.models import (
    Booking,
    Firing,
    FiringPolicy,
    Layer,
    LayerHold,
    Piece,
    Placement,
)

# Promised space counts as the longest wait: so it goes before everything else in a load.
PROMISED = timedelta(days=3650)


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
        return {one.id: one.as_load_piece() for one in queue_pieces(self.bookings)}

    def __post_init__(self) -> None:
        self.plan = self._plan()
        self.held = _held(self)

    def _plan(self) -> LoadPlan:
        """Where everything stands; pieces without a place count as left out."""
        layers = tuple(planned_layer(layer) for layer in self.layers)
        placed = {pid for layer in layers for pid in ids_on(layer)}
        out = [key for key in self.pieces if key not in placed]
        return LoadPlan(layers, tuple(LeftOut(key, WhyLeftOut.NO_ROOM) for key in out))

    @property
    def area_mm2(self) -> int:
        """The footprints of what stands in the load; booked quarters count as their area."""
        return plan_area_mm2(self.space, self.load_pieces, self.plan)


def standing_load(firing: Firing, bookings: Sequence[Booking]) -> StandingLoad:
    """The load of a firing; give its bookings with `pieces`."""
    policy = FiringPolicy.current()
    forbidden = firing.kept_out.values_list("booking__pieces", flat=True)
    return StandingLoad(
        firing=firing,
        bookings=list(bookings),
        space=space_of(firing.kiln, policy),
        gap_mm=policy.gap_mm(firing.stage),
        layers=list(firing.layers.prefetch_related("placements").order_by("stack", "position")),
        holds=list(firing.holds.all()),
        forbidden=frozenset(str(pk) for pk in forbidden if pk),
    )


def rule_of(policy: FiringPolicy) -> LoadRule:
    """How the studio weighs filled area against waiting; bookings carry no due date."""
    return LoadRule(
        waiting_weight_per_day=policy.wait_percent_per_day / 100,
        waits_at_most_days=policy.waits_at_most_days,
    )


def names_of(bookings: Iterable[Booking]) -> dict[str, str]:
    """What sentences call each piece, by its id in plans."""
    return {
        str(piece.pk): f"{piece.name} of slip {booking.slip}"
        for booking in bookings
        for piece in booking.pieces.all()
    }


def queue_pieces(bookings: Iterable[Booking], *, firing: Firing | None = None) -> list[QueuePiece]:
    """What is planned, in the order of `bookings`. One slip is fired together.

    What `firing` has promised space goes before everything else.
    """
    return [
        QueuePiece(
            id=str(piece.pk),
            member=str(booking.member_id),
            stage=booking.stage,
            cone=booking.cone,
            footprint=footprint_of(piece),
            height_mm=piece.height_mm,
            ready_on=_ready_on(booking, firing),
            group=booking.slip,
            booked_order=number,
            fraction=fraction_of(booking),
            kind=piece.name,
        )
        for number, booking in enumerate(bookings, start=1)
        for piece in booking.pieces.all()
    ]


def _ready_on(booking: Booking, firing: Firing | None) -> date:
    is_promised = firing is not None and booking.is_promised and booking.firing_id == firing.pk
    return booking.dry_on - PROMISED if is_promised else booking.dry_on


def ids_on(layer: PlannedLayer) -> list[str]:
    """The pieces and booked fractions on a layer."""
    return [put.piece_id for put in layer.placements] + [pid for pid, _ in layer.fractions]


def planned_layer(layer: Layer) -> PlannedLayer:
    """A written layer as the planner knows it. Prefetch `placements`."""
    standing = [put for put in layer.placements.all() if put.x_mm is not None]
    quarters = [put for put in layer.placements.all() if put.x_mm is None]
    return PlannedLayer(
        stack=layer.stack,
        index=layer.position,
        post_mm=tuple(layer.posts_mm),
        shelf_bottom_mm=layer.shelf_bottom_mm,
        placements=tuple(_place(put) for put in standing),
        fractions=tuple((str(put.piece_id), tuple(put.quadrants)) for put in quarters),
        cone_pack=_pack(layer),
    )


def _place(put: Placement) -> Place:
    return Place(str(put.piece_id), put.x_mm or 0.0, put.y_mm or 0.0, round(put.turn_deg))


def _pack(layer: Layer) -> Place | None:
    if not layer.cone_pack:
        return None
    x_mm, y_mm, turn_deg = layer.cone_pack
    return Place("", x_mm, y_mm, round(turn_deg))


def _held(load: StandingLoad) -> Held:
    """What crew have decided. Layers up to the highest with a lock keep their posts.

    A slip is fired together: with one piece of it locked, the others stay where they stand too.
    """
    slips = {load.pieces[key].booking_id for key in locked_ids(load) if key in load.pieces}
    stay = {piece.pk for piece in load.pieces.values() if piece.booking_id in slips}
    holds = {(hold.stack, hold.position): hold for hold in load.holds}
    layers = {(layer.stack, layer.position): layer for layer in load.layers}
    fixed_up_to: dict[str, int] = {}
    for (stack, position), layer in layers.items():
        hold = holds.get((stack, position))
        if any(put.piece_id in stay for put in layer.placements.all()) or (hold and hold.is_whole):
            fixed_up_to[stack] = max(position, fixed_up_to.get(stack, 0))
    held = []
    for stack, position in sorted({*holds, *layers}):
        is_fixed = position <= fixed_up_to.get(stack, 0)
        place = (stack, position)
        one = _held_layer(place, layers.get(place), holds.get(place), is_fixed, stay)
        if one is not None:
            held.append(one)
    return Held(tuple(held), load.forbidden)


def _held_layer(
    place: tuple[str, int],
    layer: Layer | None,
    hold: LayerHold | None,
    is_fixed: bool,
    stay: set[int],
) -> HeldLayer | None:
    is_whole = bool(hold and hold.is_whole and layer)
    wanted = tuple(hold.posts_mm) if hold and hold.posts_mm else None
    posts = tuple(layer.posts_mm) if layer and is_fixed else wanted
    puts = (
        [put for put in layer.placements.all() if is_whole or put.piece_id in stay] if layer else []
    )
    free = tuple(kept_free_of(room) for room in hold.keep_free) if hold else ()
    if posts is None and not puts and not free and not is_whole:
        return None
    return HeldLayer(
        stack=place[0],
        index=place[1],
        post_mm=posts,
        locked=tuple(_place(put) for put in puts if put.x_mm is not None),
        locked_fractions=tuple(
            (str(put.piece_id), tuple(put.quadrants)) for put in puts if put.x_mm is None
        ),
        cone_pack=_pack(layer) if layer and is_whole else None,
        keep_free=free,
        is_whole=is_whole,
    )


def kept_free_of(room: dict[str, float]) -> KeptFree:
    """Room that crew keep free, as its record has it."""
    return KeptFree(
        room=Rectangle(round(room["width_mm"]), round(room["depth_mm"])),
        x_mm=room["x_mm"],
        y_mm=room["y_mm"],
        turn_deg=room.get("turn_deg", 0),
        height_mm=round(room.get("height_mm", 0)),
    )


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


def write_plan(firing: Firing, plan: LoadPlan, *, locked: Iterable[str] = ()) -> None:
    """Replace the layers and placements of a load; `locked` ids stay locked."""
    Placement.objects.filter(layer__firing=firing).delete()
    firing.layers.all().delete()
    shelves, kept = standard_shelves(firing.kiln), set(locked)
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
            Placement(
                layer=layer,
                piece_id=int(piece_id),
                quadrants=list(taken),
                is_locked=piece_id in kept,
            )
            for piece_id, taken in planned.fractions
        ]
    Placement.objects.bulk_create(placements)


def locked_ids(load: StandingLoad) -> set[str]:
    """The pieces that are locked one by one, not those of a layer locked as a whole."""
    return {
        str(put.piece_id)
        for layer in load.layers
        for put in layer.placements.all()
        if put.is_locked
    }


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
