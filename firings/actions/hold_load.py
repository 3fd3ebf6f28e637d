"""What crew decide about a load before it is planned again: locks, heights, room, slips."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime

from django.db import transaction

from firings.actions.arrange_load import check_change, held_load, layer_at, require_own_place
from firings.actions.bookings import change_state, locked_booking
from firings.actions.load import loadable, promise_place
from firings.actions.load_layers import kept_free_of
from firings.actions.load_record import StandingLoad, load_was_changed
from firings.calculations.footprints import GREATEST_SIZE_MM, Rectangle
from firings.calculations.free_place import free_place
from firings.calculations.load_plan import LoadPiece, LoadPlan
from firings.calculations.planning.problem import Held, HeldLayer
from firings.models import (
    Booking,
    BookingState,
    Firing,
    KeptOut,
    Layer,
    LayerHold,
    Piece,
    Placement,
)
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

ROOMS_AT_MOST = 6


def lock_piece(
    *, by: Person, at: datetime, firing: Firing, piece: Piece, is_locked: bool
) -> Placement:
    """Let a piece stay where it is when the load is planned again, or free it."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = loadable(firing)
        put = Placement.objects.filter(layer__firing=firing, piece=piece).first()
        if put is None:
            raise WareRefusal("no_place", f"{piece.name} has no place in this load.", status=404)
        require_own_place(put, piece)
        put.is_locked = is_locked
        put.save(update_fields=["is_locked"])
        if is_locked:
            promise_place(firing, [piece])
        load_was_changed(firing)
        deed = "locked" if is_locked else "unlocked"
        record_deed(piece, deed, by=by, at=at, firing=firing.pk)
    return put


def lock_layer(
    *, by: Person, at: datetime, firing: Firing, stack: str, position: int, is_locked: bool
) -> LayerHold:
    """Let a whole layer stay as it is, with nothing added, or free it."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        load = held_load(firing)
        layer = layer_at(load, stack, position)
        hold = _hold(load.firing, layer.stack, layer.position)
        hold.is_whole = is_locked
        if is_locked:
            promise_place(load.firing, [put.piece for put in layer.placements.all()])
        _keep(hold)
        load_was_changed(load.firing)
        deed = "layer locked" if is_locked else "layer unlocked"
        record_deed(load.firing, deed, by=by, at=at, stack=stack, position=position)
    return hold


def set_layer_height(
    *,
    by: Person,
    at: datetime,
    firing: Firing,
    stack: str,
    position: int,
    posts_mm: Sequence[int] | None,
) -> LayerHold:
    """Say which posts stand on a layer, under the shelf above it; None leaves them to the planner.

    Every shelf above moves up or down with it.
    """
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        load = held_load(firing)
        layer_at(load, stack, position)
        above = next(
            (la for la in load.layers if (la.stack, la.position) == (stack, position + 1)), None
        )
        hold = _hold(load.firing, stack, position + 1)
        hold.posts_mm = sorted(posts_mm, reverse=True) if posts_mm else None
        if above is not None and posts_mm:
            _raise_shelves(load, above, tuple(hold.posts_mm or ()))
        elif posts_mm:
            _check_posts(load, posts_mm)
        _keep(hold)
        load_was_changed(load.firing)
        record_deed(
            load.firing, "layer height set", by=by, at=at, stack=stack, position=position,
            posts_mm=hold.posts_mm,
        )  # fmt: skip
    return hold


def keep_room_free(
    *,
    by: Person,
    at: datetime,
    firing: Firing,
    stack: str,
    position: int,
    width_mm: int,
    depth_mm: int,
    height_mm: int,
    x_mm: float | None = None,
    y_mm: float | None = None,
) -> LayerHold:
    """Keep a rectangle of a layer free, for tests or a late piece; without a place, where it fits.

    Ware keeps the same distance from it as from other ware.
    """
    require_role(by, Role.CREW)
    for name, size_mm in (("width", width_mm), ("depth", depth_mm), ("height", height_mm)):
        if not 1 <= size_mm <= GREATEST_SIZE_MM:
            raise WareRefusal(
                "absurd_size",
                f"The {name} must lie between 1 mm and {GREATEST_SIZE_MM // 10} cm.",
                field=f"{name}_mm",
            )
    with transaction.atomic(durable=True):
        load = held_load(firing)
        layer = layer_at(load, stack, position)
        if x_mm is None or y_mm is None:
            size = (width_mm, depth_mm, height_mm)
            x_mm, y_mm, turn_deg = _free_room(load, layer, size)
        else:
            turn_deg = 0.0
        room = {"width_mm": width_mm, "depth_mm": depth_mm, "height_mm": height_mm}
        placed = {**room, "x_mm": x_mm, "y_mm": y_mm, "turn_deg": turn_deg}
        hold = _hold(load.firing, stack, position)
        if len(hold.keep_free) >= ROOMS_AT_MOST:
            raise WareRefusal("too_many_rooms", f"Keep at most {ROOMS_AT_MOST} rooms on a layer.")
        check_change(load, load.plan, _held_with_room(load, layer, placed))
        hold.keep_free = [*hold.keep_free, placed]
        _keep(hold)
        load_was_changed(load.firing)
        record_deed(
            load.firing, "room kept free", by=by, at=at, stack=stack, position=position, room=room
        )
    return hold


def give_room_back(
    *, by: Person, at: datetime, firing: Firing, stack: str, position: int, number: int
) -> LayerHold:
    """Let ware stand again in the `number`-th room kept free on a layer, counted from 1."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = loadable(firing)
        hold = _hold(firing, stack, position)
        if not 1 <= number <= len(hold.keep_free):
            raise WareRefusal("no_such_room", "This room is not kept free any more.", status=404)
        hold.keep_free = [room for at_, room in enumerate(hold.keep_free, 1) if at_ != number]
        _keep(hold)
        load_was_changed(firing)
        record_deed(firing, "room given back", by=by, at=at, stack=stack, position=position)
    return hold


def keep_slip_out(*, by: Person, at: datetime, firing: Firing, booking: Booking) -> KeptOut:
    """Forbid a slip for this firing; if it is in the load, it waits in the queue again."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = loadable(firing)
        booking = locked_booking(booking)
        is_here = booking.firing_id == firing.pk
        if booking.state not in (BookingState.WAITING, BookingState.PLACED):
            raise WareRefusal(
                "not_waiting", f"Slip {booking.slip} is {booking.get_state_display().lower()}."
            )
        if is_here:
            Placement.objects.filter(piece__booking=booking).delete()
            if booking.state == BookingState.PLACED:
                change_state(booking, BookingState.WAITING, deed="kept out", by=by, at=at)
            booking.firing, booking.is_promised = None, False
            booking.save(update_fields=["state", "firing", "is_promised"])
        kept, _ = KeptOut.objects.get_or_create(firing=firing, booking=booking)
        load_was_changed(firing)
        record_deed(firing, "slip kept out", by=by, at=at, slip=booking.slip)
    return kept


def allow_slip(*, by: Person, at: datetime, firing: Firing, booking: Booking) -> Firing:
    """Let a slip that was kept out be planned for this firing again."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = loadable(firing)
        gone, _ = firing.kept_out.filter(booking=booking).delete()
        if not gone:
            raise WareRefusal(
                "not_kept_out", f"Slip {booking.slip} is not kept out of this firing.", status=404
            )
        firing.stay_out.filter(booking=booking).delete()
        load_was_changed(firing)
        record_deed(firing, "slip allowed", by=by, at=at, slip=booking.slip)
    return firing


def _hold(firing: Firing, stack: str, position: int) -> LayerHold:
    found = firing.holds.filter(stack=stack, position=position).first()
    return found or LayerHold(firing=firing, stack=stack, position=position)


def _keep(hold: LayerHold) -> None:
    """Write a hold that holds something; forget one that holds nothing."""
    if hold.is_whole or hold.posts_mm or hold.keep_free:
        hold.save()
    elif hold.pk:
        LayerHold.objects.filter(pk=hold.pk).delete()


def _check_posts(load: StandingLoad, posts_mm: Sequence[int]) -> None:
    unknown = sorted(set(posts_mm) - set(load.space.post_heights_mm))
    if unknown:
        raise WareRefusal(
            "no_such_post", f"There are no posts of {unknown[0]} mm.", field="posts_mm"
        )
    if len(posts_mm) > load.space.posts_stacked_at_most:
        raise WareRefusal(
            "too_many_posts",
            f"At most {load.space.posts_stacked_at_most} posts stand on top of each other.",
            field="posts_mm",
        )


def _raise_shelves(load: StandingLoad, layer: Layer, posts_mm: tuple[int, ...]) -> None:
    """Stand a shelf on other posts; it and those above it in its tower change their height."""
    change_mm = sum(posts_mm) - sum(layer.posts_mm)
    layers = []
    for one in load.plan.layers:
        is_this = (one.stack, one.index) == (layer.stack, layer.position)
        if one.stack == layer.stack and one.index >= layer.position:
            one = replace(one, shelf_bottom_mm=one.shelf_bottom_mm + change_mm)
        layers.append(replace(one, post_mm=posts_mm) if is_this else one)
    held = _without_posts(load.held, layer)
    check_change(load, LoadPlan(tuple(layers), load.plan.left_out), held)
    for row in load.layers:
        if row.stack == layer.stack and row.position >= layer.position:
            row.shelf_bottom_mm += change_mm
            if row.pk == layer.pk:
                row.posts_mm = list(posts_mm)
            row.save(update_fields=["posts_mm", "shelf_bottom_mm"])


def _without_posts(held: Held, layer: Layer) -> Held:
    """The same decisions without the posts that are being set now."""

    def freed(one: HeldLayer) -> HeldLayer:
        is_this = (one.stack, one.index) == (layer.stack, layer.position)
        return replace(one, post_mm=None) if is_this else one

    return replace(held, layers=tuple(freed(one) for one in held.layers))


def _held_with_room(load: StandingLoad, layer: Layer, room: dict[str, float]) -> Held:
    place = (layer.stack, layer.position)
    mine = next(
        (one for one in load.held.layers if (one.stack, one.index) == place), HeldLayer(*place)
    )
    grown = replace(mine, keep_free=(*mine.keep_free, kept_free_of(room)))
    others = tuple(one for one in load.held.layers if (one.stack, one.index) != place)
    return replace(load.held, layers=(*others, grown))


def _free_room(
    load: StandingLoad, layer: Layer, size: tuple[int, int, int]
) -> tuple[float, float, float]:
    width_mm, depth_mm, height_mm = size
    room = LoadPiece("room", Rectangle(width_mm, depth_mm), height_mm, 0)
    held = replace(
        load.held,
        layers=tuple(replace(one, is_whole=False) for one in load.held.layers),
    )
    place = free_place(
        load.space, load.load_pieces, load.plan, room, load.gap_mm,
        stack=layer.stack, index=layer.position, held=held,
    )  # fmt: skip
    if place is None:
        raise WareRefusal(
            "no_free_place",
            f"Layer {layer.position} has no free room of that size. Move ware first.",
        )
    return place.x_mm, place.y_mm, place.turn_deg
