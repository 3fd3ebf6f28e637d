"""The load page: the proposal to scale, how good it is, what waits and why, the piece picked."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.contrib import messages
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from firings.actions.left_out import stays_out_words
from firings.actions.load import CAN_BE_LOADED, LoadProposal
from firings.actions.load_progress import progress_context
from firings.actions.search_load import search_load, stop_search
from firings.calculations.kiln_space import post_choices
from firings.models import Booking, Firing
from firings.pages.found import firing_numbered, page_of
from firings.pages.load_drawing import LayerDrawing, LoadDrawing, Thing, draw_load
from firings.tasks import look_for_better_load
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed

STAYS_OUT_SHOWN = 60
NUDGES_MM = (1, 5, 10)
ROOM_FIELDS = (("width_mm", "Width"), ("depth_mm", "Depth"), ("height_mm", "Height"))


@dataclass(frozen=True)
class Picked:
    """The piece whose deeds are shown, and where it stands."""

    thing: Thing
    layer: LayerDrawing
    is_rectangle: bool
    height_mm: int


def load_url(firing: Firing, piece: int | None = None) -> str:
    """The address of the load page, with a piece picked."""
    url = reverse("firings:load", args=[firing.pk])
    return f"{url}?piece={piece}#picked" if piece else url


@needs(Role.CREW, Role.MANAGER)
def board(request: HttpRequest, number: int) -> HttpResponse:
    """All of it; a piece is picked by the address."""
    firing = firing_numbered(number)
    drawing = draw_load(firing)
    is_open = firing.state in CAN_BE_LOADED and not firing.is_empty_first_firing
    may_change = is_open and request.user.has_role(Role.CREW)
    picked = _picked(drawing, request.GET.get("piece", "")) if may_change else None
    context = {
        "firing": firing,
        "back": page_of(firing),
        "drawing": drawing,
        "picked": picked,
        "next_layer": _next_layer(drawing, picked),
        "room_fields": ROOM_FIELDS,
        "others": [thing for one in drawing.layers for thing in one.things if thing.piece],
        "may_change": may_change,
        "is_open": is_open,
        "posts": [list(posts) for posts in post_choices_of(firing)],
        "nudges_mm": NUDGES_MM,
        **progress_context(firing, timezone.now()),
        **_slips(request, firing),
    }
    return render(request, "firings/load.html", context)


@needs(Role.CREW, Role.MANAGER)
def progress(request: HttpRequest, number: int) -> HttpResponse:
    """How the search goes, asked for again and again while it runs."""
    firing = firing_numbered(number)
    context = {"firing": firing, **progress_context(firing, timezone.now())}
    answer = render(request, "firings/parts/load_progress.html", context)
    if request.GET.get("revision") != str(firing.load_revision):
        # A better plan stands there now; its picture is outside this part.
        answer["HX-Trigger"] = "load-changed"
    return answer


@needs(Role.CREW)
@require_POST
def search(request: HttpRequest, number: int) -> HttpResponse:
    """Plan at once, and look on for a better load."""
    firing = firing_numbered(number)

    def act() -> LoadProposal:
        proposal = search_load(
            by=request.user,
            at=timezone.now(),
            firing=firing,
            nudge=look_for_better_load.delay,
        )
        for warning in proposal.warnings:
            messages.warning(request, warning)
        return proposal

    return answer_deed(request, act, done=what_is_in, then=load_url(firing))


@needs(Role.CREW)
@require_POST
def stop(request: HttpRequest, number: int) -> HttpResponse:
    """Let the load stand as it is."""
    firing = firing_numbered(number)
    return answer_deed(
        request,
        lambda: stop_search(by=request.user, at=timezone.now(), firing=firing),
        done="Stopped. The load stands as it is.",
        then=load_url(firing),
    )


def what_is_in(proposal: LoadProposal) -> str:
    """How many slips went in, and how many stay out."""
    placed, out = len(proposal.placed), len(proposal.left_out)
    told = "1 slip is in the load." if placed == 1 else f"{placed} slips are in the load."
    if out:
        told += f" {out} stay{'s' if out == 1 else ''} out; the list below says why."
    return told


def post_choices_of(firing: Firing) -> tuple[tuple[int, ...], ...]:
    """The heights that posts of the studio make, each with as few posts as possible."""
    kiln = firing.kiln
    return post_choices(tuple(kiln.post_heights_mm), kiln.posts_stacked_at_most)


def _picked(drawing: LoadDrawing, asked: str) -> Picked | None:
    if not asked.isdecimal():
        return None
    for layer in drawing.layers:
        for thing, line in zip(
            (one for one in layer.things if one.piece),
            (one for one in layer.lines if one.carrier is None),
            strict=True,
        ):
            if thing.piece == int(asked):
                is_rectangle = line.piece.shape == "rectangle"
                return Picked(thing, layer, is_rectangle, line.piece.height_mm)
    return None


def _next_layer(drawing: LoadDrawing, picked: Picked | None) -> str:
    """The layer that a move is offered to first: the one above, else another."""
    keys = [layer.key for layer in drawing.layers]
    if picked is None or len(keys) < 2:
        return ""
    return keys[(keys.index(picked.layer.key) + 1) % len(keys)]


def _slips(request: HttpRequest, firing: Firing) -> dict[str, Any]:
    """What is in the load, what stays out and why, and what crew keep out."""
    mine = firing.bookings.select_related("member").annotate(pieces_count=Count("pieces"))
    rows = firing.stay_out.select_related("booking__member").order_by("pk")[: STAYS_OUT_SHOWN + 1]
    reader = request.user
    out = [
        (row.booking, stays_out_words(row, reader), row.get_why_display())
        for row in rows
        if row.booking.firing_id != firing.pk
    ]
    known = [booking.pk for booking, _, _ in out]
    kept_out = list(firing.kept_out.select_related("booking__member"))
    new = (
        Booking.objects.in_queue(firing.stage, firing.cone)
        .exclude(pk__in=[*known, *(kept.booking_id for kept in kept_out)])
        .select_related("member")[:STAYS_OUT_SHOWN]
    )
    return {
        "in_load": list(mine.filter(pieces__placement__isnull=False).distinct().order_by("pk")),
        "no_place": list(mine.filter(pieces__placement__isnull=True).distinct().order_by("pk")),
        "stays_out": out[:STAYS_OUT_SHOWN],
        "has_more_out": len(out) > STAYS_OUT_SHOWN,
        "kept_out": kept_out,
        "not_yet_asked": list(new),
    }
