"""The firing or the booking that an address or a scanned slip names."""

from __future__ import annotations

from django.shortcuts import get_object_or_404
from django.urls import reverse

from firings.calculations.slips import read_slip
from firings.models import Booking, Firing
from firings.refusals import WareRefusal


def firing_numbered(number: int) -> Firing:
    """The firing with its kiln, or a 404 page."""
    return get_object_or_404(Firing.objects.select_related("kiln"), pk=number)


def page_of(firing: Firing) -> str:
    """The address of a firing's page."""
    return reverse("firings:firing", args=[firing.pk])


def booking_with_slip(text: str) -> Booking:
    """The booking whose slip was typed or scanned; says so when there is none."""
    try:
        slip = read_slip(text)
    except ValueError as error:
        raise WareRefusal("no_slip_code", f"{error}.", field="slip", status=400) from error
    booking = (
        Booking.objects.select_related("member", "firing__kiln")
        .prefetch_related("pieces")
        .filter(slip=slip)
        .first()
    )
    if booking is None:
        raise WareRefusal(
            "unknown_slip", f"No booking has the slip {slip}.", field="slip", status=404
        )
    return booking
