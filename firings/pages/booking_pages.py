"""Book space; withdraw; say that it was collected."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from firings.actions.book import book_ware
from firings.actions.bookings import collect_booking, withdraw_booking
from firings.models import Booking, Clay, FiringPolicy, Glaze, PieceSize
from firings.pages.booking_choice import BookingChoice, choice_of, queues_of
from firings.pages.booking_coming import announced_firings
from firings.pages.booking_forms import BookingForm, first_values
from studio.models import Role
from studio.pages.access import needs, signed_in
from studio.pages.answers import answer_deed, answer_form
from studio.pages.context import studio_of, units_of


@needs(Role.MEMBER)
def book(request: HttpRequest) -> HttpResponse:
    """First the queue or the firing, then the ware; the address keeps the first answer."""
    choice = choice_of(request)
    if choice is None:
        policy = FiringPolicy.current()
        context = {
            "queues": queues_of(policy),
            "announced": announced_firings(policy),
            "has_clays": Clay.objects.filter(is_offered=True).exists(),
        }
        return render(request, "firings/book_where.html", context)

    def act(cleaned: dict[str, Any]) -> Booking:
        return _book(request, choice, cleaned)

    return answer_form(
        request,
        _form_for(request, choice),
        "firings/book.html",
        act,
        context={"choice": choice},
        initial=first_values(timezone.localdate(timezone=studio_of(request).zone), _clay(request)),
        done=lambda booking: f"Booked. Lay slip {booking.slip} with your ware.",
        then=booking_url,
    )


def _form_for(request: HttpRequest, choice: BookingChoice) -> partial[BookingForm]:
    return partial(
        BookingForm,
        units=units_of(request),
        stage=choice.stage,
        cone=choice.cone,
        sizes=list(PieceSize.objects.filter(is_offered=True)),
        clays=list(Clay.objects.filter(is_offered=True)),
        glazes=list(Glaze.objects.filter(is_offered=True)),
    )


def _clay(request: HttpRequest) -> int | None:
    """The clay this member booked last."""
    mine = Booking.objects.filter(member=request.user)  # type: ignore[misc]
    return mine.values_list("clay_id", flat=True).order_by("-pk").first()


def _book(request: HttpRequest, choice: BookingChoice, cleaned: dict[str, Any]) -> Booking:
    return book_ware(
        by=request.user,  # type: ignore[arg-type]
        at=timezone.now(),
        stage=choice.stage,
        cone=choice.cone,
        firing=choice.firing,
        clay=cleaned["clay"],
        glazes=cleaned.get("glazes", ()),
        dry_on=cleaned["dry_on"],
        pieces=cleaned["pieces"],
        shelf_fraction=cleaned["shelf_fraction"],
        shelf_height_mm=cleaned["shelf_height_mm"],
        note=cleaned["note"],
    )


def booking_url(booking: Booking) -> str:
    return reverse("firings:booking", args=[booking.slip])


def seen_booking(request: HttpRequest, slip: str) -> Booking:
    """The booking with this slip, or 404 when it is not for the eyes of who asks."""
    seen = Booking.objects.visible_to(request.user)  # type: ignore[arg-type]
    seen = seen.select_related("firing__kiln", "member", "clay", "dryness_confirmed_by")
    return get_object_or_404(seen.prefetch_related("pieces", "glazes"), slip=slip.upper())


@signed_in
@require_POST
def withdraw(request: HttpRequest, slip: str) -> HttpResponse:
    booking = seen_booking(request, slip)
    return answer_deed(
        request,
        lambda: withdraw_booking(by=request.user, at=timezone.now(), booking=booking),  # type: ignore[arg-type]
        done=f"Slip {booking.slip} is withdrawn. Take the ware off the rack.",
        then=booking_url,
    )


@signed_in
@require_POST
def collect(request: HttpRequest, slip: str) -> HttpResponse:
    booking = seen_booking(request, slip)
    return answer_deed(
        request,
        lambda: collect_booking(by=request.user, at=timezone.now(), booking=booking),  # type: ignore[arg-type]
        done=f"Slip {booking.slip} is collected.",
        then=booking_url,
    )
