"""What members choose from when they book: clays, glazes and usual sizes."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from firings.actions.ware import set_clay, set_glaze, set_piece_size
from firings.models import Clay, Glaze, PieceSize
from firings.pages.ware_forms import ClayForm, GlazeForm, SizeForm, initial_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of
from studio.pages.unit_fields import ReaderForm


@needs(Role.MANAGER, Role.CREW)
def palette(request: HttpRequest) -> HttpResponse:
    context = {
        "clays": Clay.objects.all(),
        "glazes": Glaze.objects.all(),
        "sizes": PieceSize.objects.all(),
        "may_manage": request.user.has_role(Role.MANAGER),
    }
    return render(request, "firings/ware_palette.html", context)


def _set(
    request: HttpRequest, model: Any, form: type, word: str, act: Any, pk: int | None
) -> HttpResponse:
    record = get_object_or_404(model, pk=pk) if pk else None

    def make_form(**arguments: Any) -> Any:
        if issubclass(form, ReaderForm):
            arguments["units"] = units_of(request)
        return form(**arguments)

    return answer_form(
        request,
        make_form,
        "firings/ware_form.html",
        lambda cleaned: act(by=request.user, at=timezone.now(), fields=cleaned, **{word: record}),
        context={"record": record, "word": word, "has_cones": hasattr(model, "cone_low")},
        initial=initial_of(form, record) if record else None,
        done=lambda saved: f"{saved} is saved.",
        then="firings:palette",
    )


@needs(Role.MANAGER)
def clay(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    return _set(request, Clay, ClayForm, "clay", set_clay, pk)


@needs(Role.MANAGER)
def glaze(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    return _set(request, Glaze, GlazeForm, "glaze", set_glaze, pk)


@needs(Role.MANAGER)
def size(request: HttpRequest, pk: int | None = None) -> HttpResponse:
    return _set(request, PieceSize, SizeForm, "size", set_piece_size, pk)
