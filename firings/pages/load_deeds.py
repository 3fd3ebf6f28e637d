"""What crew do to a load on its page, each a form of its own; the page works without scripts."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from typing import Any, TypeVar

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_POST

from firings.actions.arrange_load import move_piece, nudge_piece, swap_pieces, turn_piece
from firings.actions.hold_load import (
    allow_slip,
    give_room_back,
    keep_room_free,
    keep_slip_out,
    lock_layer,
    lock_piece,
    set_layer_height,
)
from firings.actions.load import take_out_of_load
from firings.calculations.footprints import GREATEST_SIZE_MM
from firings.models import Firing, Piece
from firings.pages.found import booking_with_slip, firing_numbered
from firings.pages.load_board import NUDGES_MM, load_url
from firings.refusals import WareRefusal
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed
from studio.pages.context import units_of
from studio.pages.unit_fields import LengthField, ReaderForm

Form = TypeVar("Form", bound=forms.Form)
WAYS = {"left": (-1, 0), "right": (1, 0), "back": (0, 1), "front": (0, -1)}


class LayerField(forms.RegexField):
    """A layer as `whole:2`; returns the tower and the level."""

    def __init__(self) -> None:
        super().__init__(regex=r"\A(whole|left|right):\d{1,2}\Z")

    def clean(self, value: Any) -> tuple[str, int]:
        stack, position = str(super().clean(value)).split(":")
        return stack, int(position)


class PlaceForm(forms.Form):
    layer = LayerField()
    x_mm = forms.FloatField(min_value=-2000, max_value=2000, required=False)
    y_mm = forms.FloatField(min_value=-2000, max_value=2000, required=False)


class NudgeForm(forms.Form):
    way = forms.ChoiceField(choices=[(way, way) for way in WAYS])
    step_mm = forms.TypedChoiceField(choices=[(mm, mm) for mm in NUDGES_MM], coerce=int)


class TurnForm(forms.Form):
    turn_deg = forms.IntegerField(min_value=-180, max_value=180)


class OtherForm(forms.Form):
    other = forms.IntegerField(min_value=1)


class LockForm(forms.Form):
    is_locked = forms.TypedChoiceField(choices=[("1", "1"), ("0", "0")], coerce=lambda v: v == "1")


class LockLayerForm(LockForm):
    layer = LayerField()


class HeightForm(forms.Form):
    layer = LayerField()
    posts = forms.RegexField(regex=r"\A\d{1,4}(\+\d{1,4}){0,3}\Z", required=False)

    def clean_posts(self) -> list[int] | None:
        typed = self.cleaned_data["posts"]
        return [int(post) for post in typed.split("+")] if typed else None


class RoomForm(ReaderForm):
    layer = LayerField()
    width_mm = LengthField(label="Width", min_mm=1, max_mm=GREATEST_SIZE_MM)
    depth_mm = LengthField(label="Depth", min_mm=1, max_mm=GREATEST_SIZE_MM)
    height_mm = LengthField(label="Height", min_mm=1, max_mm=GREATEST_SIZE_MM)


class RoomBackForm(forms.Form):
    layer = LayerField()
    room = forms.IntegerField(min_value=1, max_value=99)


def _sent(form_class: Callable[..., Form], request: HttpRequest) -> dict[str, Any]:
    """What a form sent; told in one sentence when it cannot be read."""
    form = form_class(data=request.POST)
    if not form.is_valid():
        name, faults = next(iter(form.errors.items()))
        label = str(form.fields[name].label or name) if name in form.fields else ""
        raise WareRefusal("not_readable", f"{label}: {faults[0]}", field=name, status=400)
    return dict(form.cleaned_data)


def _deed(
    request: HttpRequest,
    number: int,
    act: Callable[[Firing, dict[str, Any]], Any],
    done: str,
    piece: int | None = None,
) -> HttpResponse:
    """Do one thing to a load as whoever asks, and show the load with the same piece picked."""
    firing = firing_numbered(number)
    who = {"by": request.user, "at": timezone.now()}
    return answer_deed(request, lambda: act(firing, who), done=done, then=load_url(firing, piece))


def _piece(firing: Firing, number: int) -> Piece:
    return get_object_or_404(Piece.objects.filter(booking__firing=firing), pk=number)


@needs(Role.CREW)
@require_POST
def move(request: HttpRequest, number: int, piece: int) -> HttpResponse:
    """To a place on a layer, or to the nearest free place of it."""

    def act(firing: Firing, who: dict[str, Any]) -> Any:
        sent = _sent(PlaceForm, request)
        stack, position = sent.pop("layer")
        return move_piece(
            **who, firing=firing, piece=_piece(firing, piece), stack=stack, position=position,
            **sent,
        )  # fmt: skip

    return _deed(request, number, act, "Moved, and locked there.", piece)


@needs(Role.CREW)
@require_POST
def nudge(request: HttpRequest, number: int, piece: int) -> HttpResponse:
    """By a few millimetres."""

    def act(firing: Firing, who: dict[str, Any]) -> Any:
        sent = _sent(NudgeForm, request)
        right, back = WAYS[sent["way"]]
        step = sent["step_mm"]
        return nudge_piece(
            **who, firing=firing, piece=_piece(firing, piece), right_mm=right * step,
            back_mm=back * step,
        )  # fmt: skip

    return _deed(request, number, act, "Moved, and locked there.", piece)


@needs(Role.CREW)
@require_POST
def turn(request: HttpRequest, number: int, piece: int) -> HttpResponse:
    def act(firing: Firing, who: dict[str, Any]) -> Any:
        sent = _sent(TurnForm, request)
        return turn_piece(**who, firing=firing, piece=_piece(firing, piece), **sent)

    return _deed(request, number, act, "Turned, and locked there.", piece)


@needs(Role.CREW)
@require_POST
def swap(request: HttpRequest, number: int, piece: int) -> HttpResponse:
    def act(firing: Firing, who: dict[str, Any]) -> Any:
        other = _piece(firing, _sent(OtherForm, request)["other"])
        return swap_pieces(**who, firing=firing, piece=_piece(firing, piece), other=other)

    return _deed(request, number, act, "Swapped, and both locked there.", piece)


@needs(Role.CREW)
@require_POST
def lock(request: HttpRequest, number: int, piece: int) -> HttpResponse:
    def act(firing: Firing, who: dict[str, Any]) -> Any:
        sent = _sent(LockForm, request)
        return lock_piece(**who, firing=firing, piece=_piece(firing, piece), **sent)

    done = "Locked." if request.POST.get("is_locked") == "1" else "Unlocked."
    return _deed(request, number, act, done, piece)


@needs(Role.CREW)
@require_POST
def lock_a_layer(request: HttpRequest, number: int) -> HttpResponse:
    def act(firing: Firing, who: dict[str, Any]) -> Any:
        sent = _sent(LockLayerForm, request)
        stack, position = sent.pop("layer")
        return lock_layer(**who, firing=firing, stack=stack, position=position, **sent)

    is_locked = request.POST.get("is_locked") == "1"
    done = "The layer is locked as it stands." if is_locked else "The layer is unlocked."
    return _deed(request, number, act, done)


@needs(Role.CREW)
@require_POST
def set_height(request: HttpRequest, number: int) -> HttpResponse:
    def act(firing: Firing, who: dict[str, Any]) -> Any:
        sent = _sent(HeightForm, request)
        stack, position = sent["layer"]
        return set_layer_height(
            **who, firing=firing, stack=stack, position=position, posts_mm=sent["posts"]
        )

    done = "The posts are set." if request.POST.get("posts") else "The planner chooses the posts."
    return _deed(request, number, act, done)


@needs(Role.CREW)
@require_POST
def keep_free(request: HttpRequest, number: int) -> HttpResponse:
    def act(firing: Firing, who: dict[str, Any]) -> Any:
        sent = _sent(partial(RoomForm, units=units_of(request)), request)
        stack, position = sent.pop("layer")
        return keep_room_free(**who, firing=firing, stack=stack, position=position, **sent)

    return _deed(request, number, act, "The room is kept free.")


@needs(Role.CREW)
@require_POST
def give_back(request: HttpRequest, number: int) -> HttpResponse:
    def act(firing: Firing, who: dict[str, Any]) -> Any:
        sent = _sent(RoomBackForm, request)
        stack, position = sent["layer"]
        return give_room_back(
            **who, firing=firing, stack=stack, position=position, number=sent["room"]
        )

    return _deed(request, number, act, "Ware may stand there again.")


@needs(Role.CREW)
@require_POST
def remove(request: HttpRequest, number: int) -> HttpResponse:
    """Send one slip back to the queue."""

    def act(firing: Firing, who: dict[str, Any]) -> Any:
        booking = booking_with_slip(request.POST.get("slip", ""))
        return take_out_of_load(**who, firing=firing, booking=booking)

    return _deed(request, number, act, "It waits in the queue again.")


@needs(Role.CREW)
@require_POST
def keep_out(request: HttpRequest, number: int) -> HttpResponse:
    def act(firing: Firing, who: dict[str, Any]) -> Any:
        booking = booking_with_slip(request.POST.get("slip", ""))
        return keep_slip_out(**who, firing=firing, booking=booking)

    return _deed(request, number, act, "It is kept out of this firing.")


@needs(Role.CREW)
@require_POST
def allow(request: HttpRequest, number: int) -> HttpResponse:
    def act(firing: Firing, who: dict[str, Any]) -> Any:
        booking = booking_with_slip(request.POST.get("slip", ""))
        return allow_slip(**who, firing=firing, booking=booking)

    return _deed(request, number, act, "It may be planned for this firing again.")
