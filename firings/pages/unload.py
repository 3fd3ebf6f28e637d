"""A kiln is unloaded, slip by slip: how each piece came out and where it waits."""

from __future__ import annotations

from collections import Counter
from functools import partial
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone

from firings.actions.open_and_unload import correct_shelving, shelve_booking
from firings.models import Booking, FiringPolicy, Outcome, Piece
from firings.pages.found import firing_numbered, page_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form

ANOTHER_PLACE = "~"


class UnloadForm(forms.Form):
    """A place for the slip, and an outcome and a note for each of its pieces."""

    place = forms.ChoiceField(label="Where it waits", widget=forms.RadioSelect)
    place_typed = forms.CharField(label="Another place", required=False, max_length=60)

    def __init__(self, *args: Any, pieces: list[Piece], places: list[str], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.pieces = pieces
        if places:
            known = [(place, place) for place in places]
            self.fields["place"].choices = [*known, (ANOTHER_PLACE, "Another place")]
        else:
            self.fields["place"] = self.fields.pop("place_typed")
            self.fields["place"].label = "Where it waits"
        if pieces and all(self._is_broken(piece) for piece in pieces):
            self.fields["place"].required = False  # nothing is left to wait anywhere
        for piece in pieces:
            self.fields[f"outcome_{piece.pk}"] = forms.ChoiceField(
                label="How it came out",
                choices=Outcome.choices,
                initial=piece.outcome or Outcome.SOUND,
            )
            self.fields[f"note_{piece.pk}"] = forms.CharField(
                label="What is seen",
                required=False,
                max_length=200,
                initial=piece.outcome_note,
            )

    def _is_broken(self, piece: Piece) -> bool:
        return self.data.get(f"outcome_{piece.pk}") == Outcome.BROKEN

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        outcomes = {
            piece.pk: (cleaned.get(f"outcome_{piece.pk}"), cleaned.get(f"note_{piece.pk}", ""))
            for piece in self.pieces
        }
        place = cleaned.get("place", "")
        if place == ANOTHER_PLACE:
            place = cleaned.get("place_typed", "")
        return {"place": place, "outcomes": outcomes}

    def piece_rows(self) -> list[tuple[str, Any, Any]]:
        """What each piece is called, with its two fields, for the page."""
        labels = numbered([piece.name for piece in self.pieces])
        return [
            (label, self[f"outcome_{piece.pk}"], self[f"note_{piece.pk}"])
            for label, piece in zip(labels, self.pieces, strict=True)
        ]


def numbered(names: list[str]) -> list[str]:
    """The names, those that come more than once with a number: `Bowl 1`, `Bowl 2`, `Mug`."""
    seen: Counter[str] = Counter()
    labels = []
    for name in names:
        seen[name] += 1
        labels.append(f"{name} {seen[name]}" if names.count(name) > 1 else name)
    return labels


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


@needs(Role.CREW)
def put_right(request: HttpRequest, slip: str) -> HttpResponse:
    """Ware on the pick-up shelf stands elsewhere, or a piece of it broke; its member is told."""
    found = Booking.objects.select_related("member").prefetch_related("pieces")
    booking = get_object_or_404(found, slip=slip)
    pieces = list(booking.pieces.all())
    places = list(FiringPolicy.current().pick_up_places)
    if places and booking.pick_up_place and booking.pick_up_place not in places:
        places.append(booking.pick_up_place)
    return answer_form(
        request,
        partial(UnloadForm, pieces=pieces, places=places),
        "firings/put_right.html",
        lambda cleaned: correct_shelving(
            by=request.user, at=timezone.now(), booking=booking, **cleaned
        ),
        context={"booking": booking, "back": reverse("firings:pick_up")},
        initial={"place": booking.pick_up_place},
        done=_what_became,
        then="firings:pick_up",
    )


def _what_became(booking: Booking) -> str:
    if booking.pick_up_place and booking.state == "ready":
        return f"Slip {booking.slip} waits at {booking.pick_up_place}. {booking.member} is told."
    return f"Slip {booking.slip} is lost. {booking.member} is told."
