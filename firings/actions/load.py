"""A load is made: proposed by the planner from the queue, changed by crew, slip by slip."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction
from django.db.models import QuerySet

from firings.actions.bookings import change_state, locked_booking
from firings.actions.kiln_space import stacks_of
from firings.actions.left_out import Out, write_stays_out
from firings.actions.load_answers import (
    Offered,
    faults_of,
    figures_of,
    first_sound,
    is_wholly_in,
    loaded_on,
    warnings_of,
)
from firings.actions.load_record import (
    StandingLoad,
    load_was_changed,
    locked_ids,
    standing_load,
    where_everything_stands,
    write_plan,
)
from firings.actions.plan_firing import locked_firing, require_state
from firings.actions.ware_rules import check_may_enter
from firings.calculations.footprints import SHELF_FRACTIONS, fraction_area_mm2
from firings.calculations.load_plan import LoadPlan
from firings.models import (
    Booking,
    BookingState,
    Firing,
    FiringState,
    LoadSearch,
    Piece,
    Placement,
    SearchState,
    WhyOut,
)
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

# Before a firing is loading, a load is a proposal; ware is promised to it all the same.
CAN_BE_LOADED = (FiringState.PLANNED, FiringState.LOADING)


@dataclass(frozen=True)
class LoadProposal:
    """What the planner made of the queue: bookings that are in, and why others are not."""

    placed: list[Booking]
    left_out: dict[Booking, str]
    warnings: tuple[str, ...]


def fill_load(*, by: Person, at: datetime, firing: Firing) -> LoadProposal:
    """Make the load at once: what was promised space, then what the rule prefers of the queue.

    A booking goes in with all its pieces or not at all. What is locked stays where it is.
    """
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = loadable(firing)
        proposal, _ = first_answer(firing, by=by, at=at)
        record_deed(firing, "filled", by=by, at=at)
    return proposal


def first_answer(firing: Firing, *, by: Person, at: datetime) -> tuple[LoadProposal, LoadSearch]:
    """Write the planner's first answer, and what a search goes on from. Firing locked."""
    before = where_everything_stands(firing)
    offered = offered_ware(firing, at)
    load = standing_load(firing, offered.able, anew=True)
    progress = first_sound(load, offered, at)
    proposal = write_answer(load, offered, progress.plan, by=by, at=at)
    is_best = progress.is_best_possible
    search, _ = LoadSearch.objects.update_or_create(
        firing=firing,
        defaults={
            "state": SearchState.BEST if is_best else SearchState.ENDED,
            "revision": firing.load_revision,
            "before": before,
            "begun_at": at,
            "begun_by": by,
            "heard_at": at,
            **figures_of(load, progress),
        },
    )
    return proposal, search


def put_in_load(*, by: Person, at: datetime, firing: Firing, booking: Booking) -> LoadProposal:
    """Add one booking to a load; refused when it may not enter or does not fit."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = loadable(firing)
        booking = locked_booking(booking)
        if booking.state != BookingState.WAITING or booking.firing_id not in (None, firing.pk):
            raise WareRefusal("not_waiting", _why_not_waiting(booking, firing))
        if firing.kept_out.filter(booking=booking).exists():
            raise WareRefusal(
                "kept_out", f"Slip {booking.slip} is kept out of this firing. Allow it first."
            )
        on = loaded_on(firing, at)
        check_may_enter(booking, stage=firing.stage, cone=firing.cone, on=on)
        booking.firing, booking.is_promised = firing, True
        booking.save(update_fields=["firing", "is_promised"])
        offered = _sorted_out(_held(firing), firing, on)
        load = standing_load(firing, offered.able, anew=True)
        plan = first_sound(load, offered, at).plan
        proposal = write_answer(load, offered, plan, by=by, at=at)
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
        firing = loadable(firing)
        booking = locked_booking(booking)
        if booking.firing_id != firing.pk:
            raise WareRefusal("not_in_this_load", f"Slip {booking.slip} is not in this load.")
        Placement.objects.filter(piece__booking=booking).delete()
        if booking.state == BookingState.PLACED:
            change_state(booking, BookingState.WAITING, deed="taken out", by=by, at=at)
        booking.firing, booking.is_promised = None, False
        booking.save(update_fields=["state", "firing", "is_promised"])
        load_was_changed(firing)
    return booking


def promise_place(firing: Firing, pieces: Iterable[Piece]) -> None:
    """What crew locked in is in: the planner keeps its slip whole before it looks at others."""
    mine = Booking.objects.filter(firing=firing, pieces__in=[piece.pk for piece in pieces])
    Booking.objects.filter(pk__in=mine.values("pk")).update(is_promised=True)


def loadable(firing: Firing) -> Firing:
    """The firing's row, held; refused when its load can no longer be made."""
    firing = locked_firing(firing)
    require_state(firing, *CAN_BE_LOADED)
    if firing.is_empty_first_firing:
        raise WareRefusal("fires_empty", "A first firing runs empty: shelves and posts only.")
    return firing


def offered_ware(firing: Firing, at: datetime) -> Offered:
    """What is in the load or was promised space, then the queue, first come first."""
    queue = Booking.objects.in_queue(firing.stage, firing.cone)
    waiting = list(with_ware(queue.select_for_update(of=("self",))))
    in_order = sorted([*_held(firing), *waiting], key=lambda one: (not one.is_promised, one.pk))
    return _sorted_out(in_order, firing, loaded_on(firing, at))


def _held(firing: Firing) -> list[Booking]:
    """What is in the load or was promised space, in order; nobody withdraws it meanwhile."""
    mine = firing.bookings.select_for_update(of=("self",)).order_by("pk")
    return list(with_ware(mine))


def with_ware(bookings: QuerySet[Booking]) -> QuerySet[Booking]:
    """Bookings with all that the rules and the planner ask about them."""
    return bookings.select_related("clay", "member").prefetch_related("glazes", "pieces__placement")


def _sorted_out(bookings: list[Booking], firing: Firing, on: date) -> Offered:
    """What may enter this load, and why the rest may not."""
    kept_out = set(firing.kept_out.values_list("booking_id", flat=True))
    able: list[Booking] = []
    out: dict[Booking, Out] = {}
    for booking in bookings:
        if booking.pk in kept_out:
            out[booking] = Out(WhyOut.KEPT_OUT)
            continue
        try:
            check_may_enter(booking, stage=firing.stage, cone=firing.cone, on=on)
        except WareRefusal as refusal:
            is_wet = refusal.code == "not_dry_yet"
            out[booking] = Out(
                WhyOut.NOT_DRY if is_wet else WhyOut.WRONG_CONE, told=refusal.message
            )
        else:
            able.append(booking)
    return Offered(able, out)


def write_answer(
    load: StandingLoad, offered: Offered, plan: LoadPlan, *, by: Person, at: datetime
) -> LoadProposal:
    """Check a plan with the second pair of eyes, and write layers, placements and states."""
    firing = load.firing
    faults = faults_of(load, offered, plan)
    if faults:
        raise WareRefusal("plan_is_faulty", f"The load cannot be made: {faults[0]}", status=500)
    standing = load.standing_in(plan)
    placed = [one for one in offered.able if is_wholly_in(one, standing)]
    write_plan(firing, plan, locked=locked_ids(load), bundles=load.bundles)
    for booking in placed:
        _mark_placed(booking, load, by=by, at=at)
    out = dict(offered.out) | {
        booking: Out.of(booking, plan, load)
        for booking in offered.able
        if not is_wholly_in(booking, standing)
    }
    words = write_stays_out(firing, out, reader=by)
    for booking in out:
        if booking.state == BookingState.PLACED:
            _send_back(booking, by=by, at=at, why=words[booking])
    load_was_changed(firing)
    # wet ware in the queue is told on the page; whoever filled the load did not ask for it
    told = {one: words[one] for one in out if out[one].why != WhyOut.NOT_DRY or one.firing_id}
    return LoadProposal(placed, told, warnings_of(load, plan))


def _send_back(booking: Booking, *, by: Person, at: datetime, why: str) -> None:
    change_state(booking, BookingState.WAITING, deed="left out", by=by, at=at, why=why)
    booking.firing, booking.is_promised = None, False
    booking.save(update_fields=["state", "firing", "is_promised"])


def _mark_placed(booking: Booking, load: StandingLoad, *, by: Person, at: datetime) -> None:
    """A part of a shelf is charged by the shelves of the kiln it is really loaded in."""
    if booking.shelf_fraction:
        fraction = SHELF_FRACTIONS[booking.shelf_fraction]
        shelf_mm2 = load.space.stacks[0].shelf.area_mm2
        booking.charged_area_mm2 = fraction_area_mm2(shelf_mm2, fraction)
    if booking.state != BookingState.PLACED:
        change_state(booking, BookingState.PLACED, deed="placed", by=by, at=at)
    booking.firing = load.firing
    booking.save(update_fields=["state", "firing", "charged_area_mm2"])


def usable_area_mm2(firing: Firing) -> int:
    """The surface of all shelves in a load: what the empty part is counted against.

    The shelves are those that the load stood on; the kiln may have others by now.
    """
    layers = firing.layers.select_related("shelf_set")
    return sum(
        stacks_of(layer.shelf_set, firing.kiln.post_width_mm)[0].shelf.area_mm2 for layer in layers
    )
