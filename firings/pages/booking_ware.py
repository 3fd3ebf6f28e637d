"""My ware: all bookings of an account, one booking's page, and the panel on the home page."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firings.models import Booking, BookingForecast, BookingState
from firings.pages.booking_pages import seen_booking
from firings.pages.booking_rows import WareRow, own_bookings, piece_lines, ware_of, ware_rows
from firings.pages.booking_steps import steps_of_booking
from studio.actions.trail import trail_of
from studio.models import Role, TrailEntry
from studio.pages.access import signed_in
from studio.pages.context import studio_of
from studio.pages.home import Panel
from studio.pages.more_about import more_about

# what needs its member first
UNDER_WAY = (BookingState.READY, BookingState.FIRED, BookingState.PLACED, BookingState.WAITING)
ENDED = (
    BookingState.COLLECTED,
    BookingState.WITHDRAWN,
    BookingState.DECLINED,
    BookingState.LOST,
)
ENDED_ON_A_PAGE = 20
READY_IN_PANEL = 5


@signed_in
def my_ware(request: HttpRequest) -> HttpResponse:
    rows = _under_way(request)
    mine = own_bookings(request.user)  # type: ignore[arg-type]
    ended = mine.filter(state__in=ENDED)
    page = Paginator(ended, ENDED_ON_A_PAGE).get_page(request.GET.get("page"))
    context = {
        "groups": [(state.value, of) for state in UNDER_WAY if (of := _in_state(rows, state))],
        "has_waiting": bool(_in_state(rows, BookingState.WAITING)),
        "ended": ware_rows(page, studio_of(request)),
        "page": page,
    }
    return render(request, "firings/my_ware.html", context)


@signed_in
def booking_page(request: HttpRequest, slip: str) -> HttpResponse:
    booking = seen_booking(request, slip)
    trail = list(trail_of(booking))
    context = booking_context(request, booking, trail) | {
        "more": more_about(request, booking),
        "forecast": BookingForecast.objects.filter(booking=booking).first(),
    }
    return render(request, "firings/booking.html", context)


def booking_context(
    request: HttpRequest, booking: Booking, trail: list[TrailEntry]
) -> dict[str, Any]:
    """What the page of one booking shows, for its member and for crew."""
    person = request.user
    is_own = booking.member_id == person.pk or booking.account_id == person.account_id  # type: ignore[union-attr]
    may = is_own or person.has_role(Role.CREW)  # type: ignore[union-attr]
    return {
        "booking": booking,
        "row": ware_rows([booking], studio_of(request))[0],
        "is_own": is_own,
        "steps": steps_of_booking(booking, trail),
        "trail": trail,
        "measured": [entry for entry in trail if entry.deed == "measured"],
        "declined": [entry for entry in trail if entry.deed == "declined"],
        "can_withdraw": may and booking.state == BookingState.WAITING,
        "can_collect": may and booking.state == BookingState.READY,
        "needs_slip": booking.state == BookingState.WAITING,
        "ware": ware_of(booking),
        "pieces": piece_lines(booking),
    }


def ware_panel(request: HttpRequest) -> Panel | None:
    """Ready to collect, what waits, and the way to book; for members."""
    if not request.user.has_role(Role.MEMBER):  # type: ignore[union-attr]
        return None
    rows = _under_way(request)
    ready = _in_state(rows, BookingState.READY)
    context = {
        "ready": ready[:READY_IN_PANEL],
        "ready_count": len(ready),
        "ready_more": max(0, len(ready) - READY_IN_PANEL),
        "waiting_count": len(_in_state(rows, BookingState.WAITING)),
        "in_kiln": [row for row in rows if row.booking.state in ("placed", "fired")],
    }
    return Panel("firings/panels/my_ware.html", context, order=10)


def _under_way(request: HttpRequest) -> list[WareRow]:
    mine = own_bookings(request.user).filter(state__in=UNDER_WAY)  # type: ignore[arg-type]
    return ware_rows(mine, studio_of(request))


def _in_state(rows: Iterable[WareRow], state: BookingState) -> list[WareRow]:
    return [row for row in rows if row.booking.state == state]
