"""What happens to a booking besides being fired: withdrawn, declined, measured, collected."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import transaction
from django.db.models import Q

from firings.actions.book import area_of
from firings.actions.promised_space import mend_promises
from firings.calculations.footprints import GREATEST_SIZE_MM
from firings.models import (
    Booking,
    BookingState,
    DeclineReason,
    Firing,
    FiringPolicy,
    Piece,
    Placement,
)
from firings.refusals import WareRefusal
from studio.actions.outbox import write_notice
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role
from studio.refusals import Denied


def locked_booking(booking: Booking) -> Booking:
    """The booking's row as it is now, held until the transaction ends.

    Its firing is left to be read afterwards: a join would answer it as it stood before the wait.
    """
    held = Booking.objects.select_for_update(of=("self",))
    return held.select_related("member", "clay").get(pk=booking.pk)


def locked_with_firing(booking: Booking) -> tuple[Booking, Firing | None]:
    """A booking's row and that of its firing, held; the firing first, as loading locks them."""
    firing_pk = Booking.objects.values_list("firing", flat=True).get(pk=booking.pk)
    held = Firing.objects.select_for_update(of=("self",)).select_related("kiln")
    firing = held.get(pk=firing_pk) if firing_pk else None
    booking = locked_booking(booking)
    if booking.firing_id != firing_pk:
        raise WareRefusal(
            "changed_meanwhile",
            f"Slip {booking.slip} was just put into or taken out of a load. Look again.",
        )
    return booking, firing


def require_own(by: Person, booking: Booking, *roles: Role) -> None:
    """Refuse unless the booking is of `by`'s account, or `by` holds one of `roles`."""
    is_own = booking.member_id == by.pk or booking.account_id == by.account_id
    if not is_own and not by.has_role(*roles):
        raise Denied("not_your_booking", "This booking belongs to somebody else.")


def withdraw_booking(*, by: Person, at: datetime, booking: Booking) -> Booking:
    """Take ware out of the queue, or off an announced firing, before it is in a load."""
    require_own(by, booking, Role.CREW)
    with transaction.atomic(durable=True):
        booking, firing = locked_with_firing(booking)
        if booking.state != BookingState.WAITING:
            raise WareRefusal(
                "not_waiting",
                f"Slip {booking.slip} is {booking.get_state_display().lower()} and can no longer "
                "be withdrawn. Speak to the kiln crew.",
            )
        change_state(booking, BookingState.WITHDRAWN, deed="withdrawn", by=by, at=at)
        booking.firing, booking.is_promised = None, False
        booking.save(update_fields=["state", "firing", "is_promised"])
        if firing:
            mend_promises(firing, by=by, at=at)
    return booking


def decline_booking(
    *, by: Person, at: datetime, booking: Booking, reason: str, note: str = ""
) -> Booking:
    """Crew turn ware away, with a reason that the member is told."""
    require_role(by, Role.CREW, Role.MANAGER)
    if reason not in DeclineReason.values:
        raise WareRefusal("unknown_reason", "Choose a reason for declining.", field="reason")
    if reason == DeclineReason.OTHER and not note.strip():
        raise WareRefusal("reason_missing", "Say in a few words why.", field="note")
    with transaction.atomic(durable=True):
        booking, firing = locked_with_firing(booking)
        if booking.state not in (BookingState.WAITING, BookingState.PLACED):
            raise WareRefusal(
                "too_late_to_decline",
                f"Slip {booking.slip} is {booking.get_state_display().lower()}: too late.",
            )
        require_not_started(booking)
        Placement.objects.filter(piece__booking=booking).delete()
        change_state(booking, BookingState.DECLINED, deed="declined", by=by, at=at, why=note)
        booking.firing, booking.is_promised = None, False
        booking.decline_reason = reason
        booking.save(update_fields=["state", "firing", "is_promised", "decline_reason"])
        if firing:
            mend_promises(firing, by=by, at=at)
        write_notice(
            key=f"declined:{booking.pk}",
            kind="declined",
            person=booking.member,
            at=at,
            facts={
                "booking": booking.pk,
                "slip": booking.slip,
                "reason": booking.get_decline_reason_display(),
                "note": note,
            },
        )
    return booking


def correct_piece(
    *,
    by: Person,
    at: datetime,
    piece: Piece,
    shape: str,
    across_mm: int,
    height_mm: int,
    depth_mm: int | None = None,
) -> Piece:
    """Crew measure a piece again while loading; what they measure is charged, the member told."""
    require_role(by, Role.CREW)
    _check_measure(shape, across_mm, depth_mm, height_mm)
    policy = FiringPolicy.current()
    with transaction.atomic(durable=True):
        booking, firing = locked_with_firing(piece.booking)
        if booking.state not in (BookingState.WAITING, BookingState.PLACED):
            raise WareRefusal("too_late_to_measure", "Ware is measured before it is fired.")
        require_not_started(booking)
        if booking.shelf_fraction:
            raise WareRefusal("no_sizes", "This slip books a part of a shelf: nothing to measure.")
        # it may no longer fit where it stood, nor carry what stood in or on it
        Placement.objects.filter(Q(piece=piece) | Q(carried_by=piece)).delete()
        piece.shape, piece.across_mm, piece.depth_mm = shape, across_mm, depth_mm
        piece.height_mm, piece.measured_at = height_mm, at
        piece.save()
        before_mm2 = booking.charged_area_mm2
        gap_mm = policy.gap_mm(booking.stage)
        booking.charged_area_mm2 = area_of(list(booking.pieces.all()), gap_mm)
        booking.save(update_fields=["charged_area_mm2"])
        facts: dict[str, Any] = {
            "booking": booking.pk,
            "slip": booking.slip,
            "piece": piece.name,
            "before_mm2": before_mm2,
            "after_mm2": booking.charged_area_mm2,
        }
        record_deed(booking, "measured", by=by, at=at, **facts)
        if firing:
            mend_promises(firing, by=by, at=at)
        if before_mm2 != booking.charged_area_mm2:
            key = f"measured:{piece.pk}:{at.isoformat()}"
            write_notice(key=key, kind="measured", person=booking.member, at=at, facts=facts)
    return piece


def collect_booking(*, by: Person, at: datetime, booking: Booking) -> Booking:
    """The ware has left the pick-up shelf: its member says so, or crew scanned the slip."""
    require_own(by, booking, Role.CREW)
    with transaction.atomic(durable=True):
        booking = locked_booking(booking)
        if booking.state != BookingState.READY:
            raise WareRefusal(
                "not_ready",
                f"Slip {booking.slip} is not on the pick-up shelf: "
                f"it is {booking.get_state_display().lower()}.",
            )
        change_state(booking, BookingState.COLLECTED, deed="collected", by=by, at=at)
        booking.collected_at = at
        booking.save(update_fields=["state", "collected_at"])
    return booking


def change_state(
    booking: Booking,
    state: BookingState,
    *,
    deed: str,
    by: Person | None,
    at: datetime,
    why: str = "",
) -> None:
    """Assign the state and write the trail; the caller has checked and saves."""
    record_deed(
        booking, deed, by=by, at=at, from_state=booking.state, to_state=state.value, why=why
    )
    booking.state = state


def require_not_started(booking: Booking) -> None:
    """Nothing changes in a load once its kiln is hot."""
    if booking.firing and booking.firing.started_at:
        raise WareRefusal("firing_started", f"{booking.firing} has started already.")


def _check_measure(shape: str, across_mm: int, depth_mm: int | None, height_mm: int) -> None:
    sizes = [across_mm, height_mm] + ([depth_mm] if shape == "rectangle" else [])
    if shape not in ("round", "rectangle"):
        raise WareRefusal("unknown_shape", "Say round or rectangular.", field="shape")
    if any(size is None or not 1 <= size <= GREATEST_SIZE_MM for size in sizes):
        raise WareRefusal(
            "absurd_size", f"Sizes lie between 1 mm and {GREATEST_SIZE_MM // 10} cm. Mind the unit."
        )
    if shape == "round" and depth_mm is not None:
        raise WareRefusal("round_with_depth", "Round ware has no depth.", field="depth_mm")
