"""A load is made: proposed by the packer from the queue, changed by crew, piece by piece."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime
from itertools import count

from django.db import transaction
from django.db.models import QuerySet

from firings.actions.bookings import change_state, locked_booking
from firings.actions.kiln_space import load_pieces, space_of, stacks_of, standard_shelves
from firings.actions.plan_firing import locked_firing, require_state
from firings.actions.size_words import left_out_words
from firings.actions.ware_rules import check_may_enter
from firings.calculations.footprints import SHELF_FRACTIONS, fraction_area_mm2
from firings.calculations.kiln_space import KilnSpace
from firings.calculations.load_plan import LeftOut, LoadPlan, WhyLeftOut
from firings.calculations.packing import plan_load
from firings.calculations.plan_check import check_load
from firings.models import (
    Booking,
    BookingState,
    Firing,
    FiringPolicy,
    FiringState,
    Layer,
    Placement,
)
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.models import Person, Role, Studio

# Before a firing is loading, a load is a proposal; ware is promised to it all the same.
CAN_BE_LOADED = (FiringState.PLANNED, FiringState.LOADING)
# How often a load is tried again with what was booked later; a try takes up to half a second.
ROUNDS_AT_MOST = 8


@dataclass(frozen=True)
class LoadProposal:
    """What the packer made of the queue: bookings that are in, and why others are not."""

    placed: list[Booking]
    left_out: dict[Booking, str]
    warnings: tuple[str, ...]


def fill_load(*, by: Person, at: datetime, firing: Firing) -> LoadProposal:
    """Make the load from what is in it or was promised space, then the dry ware in the queue.

    First come, first served. A booking goes in with all its pieces or not at all.
    """
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = _loadable(firing)
        on = _loaded_on(firing, at)
        queue = Booking.objects.in_queue(firing.stage, firing.cone).dry_by(on)
        waiting = list(with_ware(queue.select_for_update(of=("self",))))
        return _write_load(firing, [*_held(firing), *waiting], by=by, at=at)


def put_in_load(*, by: Person, at: datetime, firing: Firing, booking: Booking) -> LoadProposal:
    """Add one booking to a load; refused when it may not enter or does not fit."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = _loadable(firing)
        booking = locked_booking(booking)
        if booking.state != BookingState.WAITING or booking.firing_id not in (None, firing.pk):
            raise WareRefusal("not_waiting", _why_not_waiting(booking, firing))
        on = _loaded_on(firing, at)
        check_may_enter(booking, stage=firing.stage, cone=firing.cone, on=on)
        mine = [one for one in _held(firing) if one.pk != booking.pk]
        added = list(with_ware(Booking.objects.filter(pk=booking.pk)))
        proposal = _write_load(firing, [*mine, *added], by=by, at=at)
        if proposal.left_out:
            slips = ", ".join(left.slip for left in proposal.left_out)
            why = next(iter(proposal.left_out.values()))
            raise WareRefusal("no_room", f"There is no room: {slips} would stay out. {why}")
        return proposal


def _why_not_waiting(booking: Booking, firing: Firing) -> str:
    if booking.state == BookingState.WAITING:
        return f"Slip {booking.slip} is promised space in {booking.firing}."
    if booking.state != BookingState.PLACED:
        return f"Slip {booking.slip} is {booking.get_state_display().lower()}."
    if booking.firing_id == firing.pk:
        return f"Slip {booking.slip} is in this load already."
    return f"Slip {booking.slip} is in the load of {booking.firing}."


def take_out_of_load(*, by: Person, at: datetime, firing: Firing, booking: Booking) -> Booking:
    """Put one booking's ware back into the queue before the firing starts."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = _loadable(firing)
        booking = locked_booking(booking)
        if booking.firing_id != firing.pk:
            raise WareRefusal("not_in_this_load", f"Slip {booking.slip} is not in this load.")
        Placement.objects.filter(piece__booking=booking).delete()
        if booking.state == BookingState.PLACED:
            change_state(booking, BookingState.WAITING, deed="taken out", by=by, at=at)
        booking.firing = None
        booking.save(update_fields=["state", "firing"])
    return booking


def _loadable(firing: Firing) -> Firing:
    firing = locked_firing(firing)
    require_state(firing, *CAN_BE_LOADED)
    if firing.is_empty_first_firing:
        raise WareRefusal("fires_empty", "A first firing runs empty: shelves and posts only.")
    return firing


def _loaded_on(firing: Firing, at: datetime) -> date:
    zone = Studio.current().zone
    return max(at, firing.planned_for).astimezone(zone).date()


def _held(firing: Firing) -> list[Booking]:
    """What is in the load or was promised space, in order; nobody withdraws it meanwhile."""
    return list(with_ware(firing.bookings.select_for_update(of=("self",)).order_by("pk")))


def with_ware(bookings: QuerySet[Booking]) -> QuerySet[Booking]:
    """Bookings with all that the rules and the packer ask about them."""
    return bookings.select_related("clay", "member").prefetch_related("glazes", "pieces__placement")


def _write_load(
    firing: Firing, bookings: Sequence[Booking], *, by: Person, at: datetime
) -> LoadProposal:
    """Pack, check the plan with the second pair of eyes, and write layers and placements."""
    policy = FiringPolicy.current()
    space, gap_mm = space_of(firing.kiln, policy), policy.gap_mm(firing.stage)
    on = _loaded_on(firing, at)
    able, left_out = _sorted_out(bookings, firing, on)
    plan, placed, no_room = _plan_whole_bookings(space, able, gap_mm)
    faults = check_load(space, load_pieces(placed), plan, gap_mm)
    if faults:
        raise WareRefusal("plan_is_faulty", f"The load cannot be made: {faults[0]}", status=500)
    _write_layers(firing, plan)
    for booking in placed:
        _mark_placed(booking, firing, space, by=by, at=at)
    left_out |= {booking: left_out_words(left, by) for booking, left in no_room.items()}
    for booking, why in left_out.items():
        if booking.state == BookingState.PLACED:
            change_state(booking, BookingState.WAITING, deed="left out", by=by, at=at, why=why)
            booking.firing = None
            booking.save(update_fields=["state", "firing"])
    return LoadProposal(placed, left_out, plan.warnings)


def _sorted_out(
    bookings: Sequence[Booking], firing: Firing, on: date
) -> tuple[list[Booking], dict[Booking, str]]:
    """What may enter this load, and why the rest may not."""
    able: list[Booking] = []
    refused: dict[Booking, str] = {}
    for booking in bookings:
        try:
            check_may_enter(booking, stage=firing.stage, cone=firing.cone, on=on)
        except WareRefusal as refusal:
            refused[booking] = refusal.message
        else:
            able.append(booking)
    return able, refused


def _plan_whole_bookings(
    space: KilnSpace, bookings: Sequence[Booking], gap_mm: int
) -> tuple[LoadPlan, list[Booking], dict[Booking, LeftOut]]:
    """Plan until every booking is wholly in or wholly out: one slip is fired together.

    A long queue is tried in its order, each time as much as could fill the shelves by area; what
    finds no room makes way for what was booked after it.
    """
    shelves_mm2 = sum(stack.shelf.area_mm2 * stack.shelves_count for stack in space.stacks)
    tried: list[Booking] = []
    untried = list(bookings)
    no_room: dict[Booking, LeftOut] = {}
    for number in count():
        if number < ROUNDS_AT_MOST:
            _top_up(tried, untried, shelves_mm2)
        plan = plan_load(space, load_pieces(tried), gap_mm)
        out = _bookings_left_out(tried, {left.piece_id: left for left in plan.left_out})
        no_room |= out
        tried = [booking for booking in tried if booking not in out]
        is_last = number >= ROUNDS_AT_MOST - 1 or not untried or _area_mm2(tried) >= shelves_mm2
        if not out and is_last:
            break
    too_late = {booking: LeftOut(booking.slip, WhyLeftOut.NO_ROOM) for booking in untried}
    return plan, tried, no_room | too_late


def _top_up(tried: list[Booking], untried: list[Booking], shelves_mm2: int) -> None:
    while untried and _area_mm2(tried) < shelves_mm2:
        tried.append(untried.pop(0))


def _area_mm2(bookings: Sequence[Booking]) -> int:
    return sum(booking.charged_area_mm2 for booking in bookings)


def _bookings_left_out(
    bookings: Sequence[Booking], left: dict[str, LeftOut]
) -> dict[Booking, LeftOut]:
    """The bookings of which a piece stays out, each with the first such piece."""
    out: dict[Booking, LeftOut] = {}
    for booking in bookings:
        pieces = [left[str(p.pk)] for p in booking.pieces.all() if str(p.pk) in left]
        if pieces:
            out[booking] = pieces[0]
    return out


def _write_layers(firing: Firing, plan: LoadPlan) -> None:
    Placement.objects.filter(layer__firing=firing).delete()
    firing.layers.all().delete()
    shelves = standard_shelves(firing.kiln)
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
        standing = [
            Placement(
                layer=layer,
                piece_id=int(spot.piece_id),
                x_mm=spot.x_mm,
                y_mm=spot.y_mm,
                turn_deg=spot.turn_deg,
            )
            for spot in planned.placements
        ]
        quarters = [
            Placement(layer=layer, piece_id=int(piece_id), quadrants=list(taken))
            for piece_id, taken in planned.fractions
        ]
        Placement.objects.bulk_create([*standing, *quarters])


def _mark_placed(
    booking: Booking, firing: Firing, space: KilnSpace, *, by: Person, at: datetime
) -> None:
    """A part of a shelf is charged by the shelves of the kiln it is really loaded in."""
    if booking.shelf_fraction:
        fraction = SHELF_FRACTIONS[booking.shelf_fraction]
        shelf_mm2 = space.stacks[0].shelf.area_mm2
        booking.charged_area_mm2 = fraction_area_mm2(shelf_mm2, fraction)
    if booking.state != BookingState.PLACED:
        change_state(booking, BookingState.PLACED, deed="placed", by=by, at=at)
    booking.firing = firing
    booking.save(update_fields=["state", "firing", "charged_area_mm2"])


def usable_area_mm2(firing: Firing) -> int:
    """The surface of all shelves in a load: what the empty part is counted against.

    The shelves are those that the load stood on; the kiln may have others by now.
    """
    layers = firing.layers.select_related("shelf_set")
    return sum(
        stacks_of(layer.shelf_set, firing.kiln.post_width_mm)[0].shelf.area_mm2 for layer in layers
    )
