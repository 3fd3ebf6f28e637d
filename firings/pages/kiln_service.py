"""A kiln leaves and returns to service; its parts are replaced."""

from __future__ import annotations

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone

from firings.actions.kilns import (
    add_part,
    replace_part,
    return_to_service,
    take_out_of_service,
)
from firings.models import Kiln, KilnPart, PartKind
from firings.pages.kiln_forms import PartForm, ReasonForm, ReplaceForm, ReturnForm
from firings.pages.kiln_setup import page_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import studio_of, units_of


@needs(Role.MANAGER, Role.CREW)
def take_out(request: HttpRequest, pk: int) -> HttpResponse:
    kiln = get_object_or_404(Kiln, pk=pk)
    return answer_form(
        request,
        ReasonForm,
        "firings/kiln_out.html",
        lambda cleaned: take_out_of_service(
            by=request.user, at=timezone.now(), kiln=kiln, reason=cleaned["reason"]
        ),
        context={"kiln": kiln},
        done=f"{kiln} is out of service: nobody starts it in Wareboard.",
        then=page_of,
    )


@needs(Role.MANAGER)
def bring_back(request: HttpRequest, pk: int) -> HttpResponse:
    kiln = get_object_or_404(Kiln, pk=pk)
    return answer_form(
        request,
        ReturnForm,
        "firings/kiln_return.html",
        lambda cleaned: return_to_service(by=request.user, at=timezone.now(), kiln=kiln, **cleaned),
        context={"kiln": kiln},
        done=f"{kiln} is back.",
        then=page_of,
    )


@needs(Role.MANAGER, Role.TREASURER)
def new_part(request: HttpRequest, pk: int) -> HttpResponse:
    kiln = get_object_or_404(Kiln, pk=pk)
    now = timezone.now()
    return answer_form(
        request,
        partial(PartForm, units=units_of(request)),
        "firings/kiln_part.html",
        lambda cleaned: add_part(by=request.user, at=now, kiln=kiln, **cleaned),
        context={"kiln": kiln},
        initial={"fitted_on": now.astimezone(studio_of(request).zone).date()},
        done=lambda part: f"{part} is noted; its wear is charged from the next firing.",
        then=page_of(kiln),
    )


@needs(Role.MANAGER)
def replace(request: HttpRequest, pk: int) -> HttpResponse:
    part = get_object_or_404(KilnPart.objects.select_related("kiln"), pk=pk)
    return answer_form(
        request,
        partial(ReplaceForm, units=units_of(request)),
        "firings/kiln_part_replace.html",
        lambda cleaned: replace_part(by=request.user, at=timezone.now(), part=part, **cleaned),
        initial={"cost_minor": part.replacement_cost_minor},
        context={"part": part, "is_element": part.kind == PartKind.ELEMENT},
        done=f"Replaced: {part}.",
        then=page_of(part.kiln),
    )
