"""A kiln is added and edited; its shelves are set."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone

from firings.actions.kilns import add_kiln, edit_kiln, set_shelves
from firings.models import Kiln
from firings.pages.kiln_forms import KilnForm, NewKilnForm, ShelvesForm
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of


def page_of(kiln: Kiln) -> str:
    return reverse("firings:kiln", args=[kiln.pk])


@needs(Role.MANAGER)
def add(request: HttpRequest) -> HttpResponse:
    def act(cleaned: dict[str, Any]) -> Kiln:
        return add_kiln(
            by=request.user,
            at=timezone.now(),
            shelves=NewKilnForm.wanted(cleaned),
            fields=NewKilnForm.fields_of(cleaned),
        )

    return answer_form(
        request,
        partial(NewKilnForm, units=units_of(request)),
        "firings/kiln_new.html",
        act,
        done=lambda kiln: f"{kiln} is added. Its first firing runs empty.",
        then=page_of,
    )


@needs(Role.MANAGER)
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    kiln = get_object_or_404(Kiln, pk=pk)
    return answer_form(
        request,
        partial(KilnForm, units=units_of(request)),
        "firings/kiln_edit.html",
        lambda cleaned: edit_kiln(
            by=request.user, at=timezone.now(), kiln=kiln, fields=KilnForm.fields_of(cleaned)
        ),
        context={"kiln": kiln},
        initial=KilnForm.initial_of(kiln),
        done="The kiln is saved.",
        then=page_of,
    )


@needs(Role.MANAGER, Role.CREW)
def shelves(request: HttpRequest, pk: int) -> HttpResponse:
    kiln = get_object_or_404(Kiln, pk=pk)
    return answer_form(
        request,
        partial(ShelvesForm, units=units_of(request)),
        "firings/kiln_shelves.html",
        lambda cleaned: set_shelves(
            by=request.user, at=timezone.now(), kiln=kiln, shelves=ShelvesForm.wanted(cleaned)
        ),
        context={"kiln": kiln},
        initial=ShelvesForm.initial_of(kiln),
        done="Loads are planned with these shelves from now on.",
        then=lambda shelf_set: page_of(kiln),
    )
