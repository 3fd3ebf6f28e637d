"""The pick-up shelf: what stands where, since when, and handing it out by its slip."""

from __future__ import annotations

from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_POST

from firings.actions.bookings import collect_booking
from firings.models import Booking, BookingState
from firings.pages.found import booking_with_slip
from firings.refusals import WareRefusal
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed
from studio.pages.context import studio_of


@needs(Role.CREW, Role.MANAGER)
def shelf(request: HttpRequest) -> HttpResponse:
    """What waits, place by place, longest first; one slip found by its code."""
    on_shelf = ready_bookings()
    by_place: dict[str, list[Booking]] = {}
    for booking in on_shelf:
        by_place.setdefault(booking.pick_up_place, []).append(booking)
    context = {
        "places": sorted(by_place.items()),
        "count": len(on_shelf),
        "today": timezone.now().astimezone(studio_of(request).zone).date(),
        **_search(request.GET.get("slip", "").strip()),
    }
    return render(request, "firings/pick_up.html", context)


def ready_bookings() -> list[Booking]:
    """What stands on the pick-up shelf, longest first."""
    ready = Booking.objects.filter(state=BookingState.READY).select_related("member")
    return list(ready.annotate(pieces_count=Count("pieces")).order_by("ready_at", "pk"))


def _search(typed: str) -> dict[str, object]:
    if not typed:
        return {"typed": "", "found": None, "not_found": ""}
    try:
        return {"typed": typed, "found": booking_with_slip(typed), "not_found": ""}
    except WareRefusal as refusal:
        # A search that finds nothing is an answer, not a deed refused.
        return {"typed": typed, "found": None, "not_found": refusal.message}


@needs(Role.CREW)
@require_POST
def hand_out(request: HttpRequest, slip: str) -> HttpResponse:
    """The ware has gone to its maker."""
    booking = booking_with_slip(slip)
    return answer_deed(
        request,
        lambda: collect_booking(by=request.user, at=timezone.now(), booking=booking),
        done=f"Slip {booking.slip} is collected.",
        then="firings:pick_up",
    )
