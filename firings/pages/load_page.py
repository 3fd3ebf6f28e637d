"""A load is made: filled from the queue, changed slip by slip, measured, printed."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_POST

from firings.actions.bookings import correct_piece
from firings.actions.left_out import stays_out_words
from firings.actions.load import LoadProposal, fill_load, put_in_load, take_out_of_load
from firings.calculations.footprints import GREATEST_SIZE_MM
from firings.load_sheet_pdf import render_load_sheet
from firings.models import Booking, BookingState, Firing, FootprintShape, Piece
from firings.pages.found import booking_with_slip, firing_numbered, page_of
from firings.pages.load_board import what_is_in
from firings.pages.load_drawing import draw_load
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form
from studio.pages.context import units_of
from studio.pages.unit_fields import LengthField, ReaderForm

WAITING_SHOWN = 40


def load_context(request: HttpRequest, firing: Firing) -> dict[str, Any]:
    """What the page of a firing shows while it is loaded."""
    mine = firing.bookings.select_related("member").annotate(pieces_count=Count("pieces"))
    slips = list(mine.prefetch_related("pieces__placement").order_by("pk"))
    placed = [booking for booking in slips if booking.state == BookingState.PLACED]
    queue = Booking.objects.in_queue(firing.stage, firing.cone).select_related("member")
    why = {
        row.booking_id: stays_out_words(row, request.user)
        for row in firing.stay_out.select_related("booking")
    }
    waiting = list(queue.annotate(pieces_count=Count("pieces"))[: WAITING_SHOWN + 1])
    for booking in [*slips, *waiting]:
        booking.why_left_out = why.get(booking.pk, "")
    return {
        "drawing": draw_load(firing),
        "placed": placed,
        "unplaced": [booking for booking in slips if booking.state != BookingState.PLACED],
        "waiting": waiting[:WAITING_SHOWN],
        "has_more_waiting": len(waiting) > WAITING_SHOWN,
        "lost_places": [
            piece
            for booking in placed
            for piece in booking.pieces.all()
            if not hasattr(piece, "placement")
        ],
    }


@needs(Role.CREW)
@require_POST
def fill(request: HttpRequest, number: int) -> HttpResponse:
    """Fill the load from what is promised and what waits."""
    firing = firing_numbered(number)

    def act() -> LoadProposal:
        proposal = fill_load(by=request.user, at=timezone.now(), firing=firing)
        for warning in proposal.warnings:
            messages.warning(request, warning)
        return proposal

    return answer_deed(request, act, done=what_is_in, then=page_of(firing))


@needs(Role.CREW)
@require_POST
def put_in(request: HttpRequest, number: int) -> HttpResponse:
    """Put one slip in: from the list, or typed or scanned."""
    firing = firing_numbered(number)

    def act() -> Booking:
        booking = booking_with_slip(request.POST.get("slip", ""))
        put_in_load(by=request.user, at=timezone.now(), firing=firing, booking=booking)
        return booking

    return answer_deed(
        request,
        act,
        done=lambda booking: f"Slip {booking.slip} is in the load; the layout is made anew.",
        then=page_of(firing),
    )


@needs(Role.CREW)
@require_POST
def take_out(request: HttpRequest, number: int) -> HttpResponse:
    """Send one slip back to the queue."""
    firing = firing_numbered(number)

    def act() -> Booking:
        booking = booking_with_slip(request.POST.get("slip", ""))
        return take_out_of_load(by=request.user, at=timezone.now(), firing=firing, booking=booking)

    return answer_deed(
        request,
        act,
        done=lambda booking: f"Slip {booking.slip} waits in the queue again.",
        then=page_of(firing),
    )


class MeasureForm(ReaderForm):
    shape = forms.ChoiceField(
        label="Footprint", choices=FootprintShape.choices, widget=forms.RadioSelect
    )
    across_mm = LengthField(label="Across, at its widest", min_mm=1, max_mm=GREATEST_SIZE_MM)
    depth_mm = LengthField(
        label="Depth",
        min_mm=1,
        max_mm=GREATEST_SIZE_MM,
        required=False,
        help_text="Only of a rectangular footprint.",
    )
    height_mm = LengthField(label="Height", min_mm=1, max_mm=GREATEST_SIZE_MM)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        is_rectangle = cleaned.get("shape") == FootprintShape.RECTANGLE
        if is_rectangle and not cleaned.get("depth_mm") and "depth_mm" not in self.errors:
            self.add_error("depth_mm", "A rectangular footprint needs its depth.")
        if not is_rectangle:
            cleaned["depth_mm"] = None
        return cleaned


@needs(Role.CREW)
def measure(request: HttpRequest, number: int, piece: int) -> HttpResponse:
    """Measure a piece again; what is measured here is charged, and its member told."""
    firing = firing_numbered(number)
    found = Piece.objects.select_related("booking__member").filter(booking__firing=firing)
    measured = get_object_or_404(found, pk=piece)
    names = ("shape", "across_mm", "depth_mm", "height_mm")
    return answer_form(
        request,
        partial(MeasureForm, units=units_of(request)),
        "firings/measure.html",
        lambda cleaned: correct_piece(
            by=request.user, at=timezone.now(), piece=measured, **cleaned
        ),
        context={"firing": firing, "piece": measured, "back": page_of(firing)},
        initial={name: getattr(measured, name) for name in names},
        done=f"{measured.name} of slip {measured.booking.slip} is measured. "
        "Fill the load again to give it a place.",
        then=page_of(firing),
    )


@needs(Role.CREW, Role.MANAGER)
def sheet(request: HttpRequest, number: int) -> HttpResponse:
    """The load on paper, to carry to the kiln."""
    firing = firing_numbered(number)
    document = render_load_sheet(firing, units_of(request), at=timezone.now())
    name = f"load-sheet-{firing.pk}.pdf"
    return HttpResponse(
        document,
        content_type="application/pdf",
        headers={"Content-Disposition": f'inline; filename="{name}"'},
    )
