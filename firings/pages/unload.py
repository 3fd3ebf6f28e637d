"""A kiln is unloaded, slip by slip: how each piece came out and where it waits."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone

from firings.actions.open_and_unload import shelve_booking
from firings.models import Booking, FiringPolicy, Outcome, Piece
from firings.pages.found import firing_numbered, page_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form

ANOTHER_PLACE = "~"


class UnloadForm(forms.Form):
    """A place for the slip, and an outcome and a note for each of its pieces."""

    place_choice = forms.ChoiceField(label="Where it waits", widget=forms.RadioSelect)
    place_typed = forms.CharField(label="Another place", required=False, max_length=60)

    def __init__(self, *args: Any, pieces: list[Piece], places: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pieces = pieces
        if places:
            known = [(place, place) for place in places]
            self.fields["place_choice"].choices = [*known, (ANOTHER_PLACE, "Another place")]
        else:
            del self.fields["place_choice"]
            self.fields["place_typed"].label = "Where it waits"
        for piece in pieces:
            self.fields[f"outcome_{piece.pk}"] = forms.ChoiceField(
                label="How it came out", choices=Outcome.choices, initial=Outcome.SOUND
            )
            self.fields[f"note_{piece.pk}"] = forms.CharField(
                label="What is seen", required=False, max_length=200
            )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        outcomes = {
            piece.pk: (cleaned.get(f"outcome_{piece.pk}"), cleaned.get(f"note_{piece.pk}", ""))
            for piece in self.pieces
        }
        chosen = cleaned.get("place_choice", "")
        if chosen in ("", ANOTHER_PLACE):
            chosen = cleaned.get("place_typed", "")
        return {"place": chosen, "outcomes": outcomes}

    def piece_rows(self) -> list[tuple[Piece, Any, Any]]:
        """Each piece with its two fields, for the page."""
        return [(p, self[f"outcome_{p.pk}"], self[f"note_{p.pk}"]) for p in self.pieces]


@needs(Role.CREW)
def unload(request: HttpRequest, number: int, slip: str) -> HttpResponse:
    """Record one slip, put it on the pick-up shelf; its member is told."""
    firing = firing_numbered(number)
    found = Booking.objects.select_related("member").prefetch_related("pieces")
    booking = get_object_or_404(found, slip=slip, firing=firing)
    pieces = list(booking.pieces.all())
    places = list(FiringPolicy.current().pick_up_places)
    return answer_form(
        request,
        partial(UnloadForm, pieces=pieces, places=places),
        "firings/unload.html",
        lambda cleaned: shelve_booking(
            by=request.user, at=timezone.now(), booking=booking, **cleaned
        ),
        context={"firing": firing, "booking": booking, "back": page_of(firing)},
        done=_what_became,
        then=page_of(firing),
    )


def _what_became(booking: Booking) -> str:
    if booking.pick_up_place and booking.state == "ready":
        return f"Slip {booking.slip} waits at {booking.pick_up_place}. {booking.member} is told."
    return f"Slip {booking.slip} is lost. {booking.member} is told."
