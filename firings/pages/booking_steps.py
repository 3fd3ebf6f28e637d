"""The way of a booking, and of a firing, as steps."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from firings.models import Booking, BookingState, Firing, FiringState
from studio.models import TrailEntry
from studio.pages.steps import Step

ENDED_EARLY = (BookingState.WITHDRAWN, BookingState.DECLINED)
# How far a booking has come, as the number of the step that is now.
_REACHED = {
    BookingState.WAITING: 1,
    BookingState.PLACED: 2,
    BookingState.FIRED: 5,
    BookingState.READY: 5,
    BookingState.LOST: 5,
    BookingState.COLLECTED: 7,
}
_FIRING_REACHED = {FiringState.FIRING: 3, FiringState.COOLING: 4, FiringState.COOLED: 5}


def steps_of_booking(booking: Booking, trail: Iterable[TrailEntry]) -> list[Step]:
    """Booked to collected, with the moments that are known. Dates come from record and trail."""
    if booking.state in ENDED_EARLY:
        ended_at = _moment(trail, booking.state)
        return [
            Step("Booked", "done", booking.booked_at),
            Step(booking.get_state_display(), "missed", ended_at),
        ]
    firing = booking.firing
    moments = [
        ("Booked", booking.booked_at, ""),
        ("In the queue", None, ""),
        ("In a load", _moment(trail, BookingState.PLACED), firing.kiln.name if firing else ""),
        ("Firing", firing.started_at if firing else None, ""),
        ("Cooled down", (firing.cooled_at or firing.opened_at) if firing else None, ""),
        (_unpacked_label(booking), booking.ready_at, booking.pick_up_place),
        ("Collected", booking.collected_at, ""),
    ]
    now = _now(booking)
    steps = [
        Step(label, _state(number, now), at if number <= now else None, note)
        for number, (label, at, note) in enumerate(moments)
    ]
    if booking.state == BookingState.LOST:
        return [*steps[:5], Step("Lost in the firing", "missed", booking.ready_at)]
    return steps


def steps_of_firing(firing: Firing) -> list[Step]:
    """Announced to closed, for members."""
    if firing.state in (FiringState.CANCELLED, FiringState.ABORTED):
        return [
            Step("Planned", "done", firing.planned_for),
            Step(firing.get_state_display(), "missed", firing.closed_at),
        ]
    order = ["open", "loading", "firing", "cooling", "cooled", "opened", "closed"]
    labels = {
        "open": ("Takes bookings", None),
        "loading": ("Loading", None),
        "firing": ("Firing", firing.started_at),
        "cooling": ("Cooling", firing.cooling_at),
        "cooled": ("At its opening limit", firing.cooled_at),
        "opened": ("Opened", firing.opened_at),
        "closed": ("Closed", firing.closed_at),
    }
    if firing.opened_at and not firing.cooled_at:
        order.remove("cooled")  # it was opened above the limit
    now = order.index(firing.state) if firing.state in order else -1
    now += firing.state == FiringState.CLOSED
    return [Step(labels[one][0], _state(order.index(one), now), labels[one][1]) for one in order]


def _now(booking: Booking) -> int:
    reached = _REACHED[BookingState(booking.state)]
    if booking.state == BookingState.PLACED and booking.firing:
        return _FIRING_REACHED.get(FiringState(booking.firing.state), reached)
    return reached


def _unpacked_label(booking: Booking) -> str:
    """The step between kiln and member, said as it is while it lasts."""
    if booking.state == BookingState.FIRED:
        return "Being unpacked"
    is_closed = booking.firing is not None and booking.firing.state == FiringState.COOLED
    return "Waits to be opened" if is_closed else "Ready to collect"


def _state(number: int, now: int) -> str:
    if number == now:
        return "now"
    return "done" if number < now else "next"


def _moment(trail: Iterable[TrailEntry], to_state: str) -> datetime | None:
    """When the booking last came into a state."""
    moments = [entry.at for entry in trail if entry.to_state == to_state]
    return moments[-1] if moments else None
