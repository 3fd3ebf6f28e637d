"""Slips: the label on the drying rack, and the short address that its QR code holds."""

from __future__ import annotations

from dataclasses import dataclass

import segno
from django.conf import settings
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe

from firings.calculations.slips import read_slip
from firings.models import Booking, BookingState
from firings.pages.booking_pages import seen_booking
from firings.pages.booking_rows import own_bookings, ware_of
from firings.pages.booking_ware import booking_context
from firings.refusals import WareRefusal
from studio.actions.trail import trail_of
from studio.models import Role
from studio.pages.access import signed_in

SLIPS_AT_ONCE = 40


@dataclass(frozen=True)
class Label:
    """One printed slip."""

    booking: Booking
    ware: str
    link: str
    qr_svg: SafeString


def slip_link(booking: Booking) -> str:
    """The address in the QR code: short, so that the squares are large."""
    return settings.PUBLIC_URL + reverse("firings:short_slip", args=[booking.slip])


def label_of(booking: Booking) -> Label:
    link = slip_link(booking)
    # error level m: a damp, dusty slip is still read (ISO/IEC 18004 restores about 15 %)
    svg = segno.make(link, error="m", micro=False).svg_inline(
        border=4, omitsize=True, svgclass="slip-qr", lineclass=None, title=f"Slip {booking.slip}"
    )
    return Label(booking, ware_of(booking), link, mark_safe(svg))  # noqa: S308 made by segno


@signed_in
def slip(request: HttpRequest, slip: str) -> HttpResponse:
    labels = [label_of(seen_booking(request, slip))]
    back = reverse("firings:booking", args=[labels[0].booking.slip])
    return render(request, "firings/slips.html", {"labels": labels, "back": back})


@signed_in
def slips(request: HttpRequest) -> HttpResponse:
    """The slips of everything of the account that waits, several on a sheet."""
    mine = own_bookings(request.user)  # type: ignore[arg-type]
    waiting = mine.filter(state=BookingState.WAITING).order_by("pk")[:SLIPS_AT_ONCE]
    labels = [label_of(booking) for booking in waiting]
    return render(
        request, "firings/slips.html", {"labels": labels, "back": reverse("firings:my_ware")}
    )


@signed_in
def short_slip(request: HttpRequest, code: str) -> HttpResponse:
    """Where a scanned slip leads: crew to what they may do with it, its member to its page."""
    try:
        tidied = read_slip(code)
    except ValueError as error:
        raise WareRefusal("no_slip", f"{error}.", status=404) from error
    if not request.user.has_role(Role.CREW):  # type: ignore[union-attr]
        if not own_bookings(request.user).filter(slip=tidied).exists():  # type: ignore[arg-type]
            raise Http404
        return redirect("firings:booking", tidied)
    booking = seen_booking(request, tidied)
    context = booking_context(request, booking, list(trail_of(booking)))
    return render(request, "firings/slip_found.html", context)
