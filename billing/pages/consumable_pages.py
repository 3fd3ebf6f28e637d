"""Consumables: the treasurer's list of what firings use up."""

from __future__ import annotations

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from billing.actions.consumable_lines import add_consumable, edit_consumable
from billing.models import Consumable
from billing.pages.membership_forms import ConsumableForm, EditConsumableForm
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of

KEEPERS = (Role.TREASURER, Role.MANAGER)


@needs(*KEEPERS)
def consumables(request: HttpRequest) -> HttpResponse:
    context = {"consumables": Consumable.objects.order_by("-is_used", "name")}
    return render(request, "billing/consumables.html", context)


@needs(*KEEPERS)
def add(request: HttpRequest) -> HttpResponse:
    return answer_form(
        request,
        partial(ConsumableForm, units=units_of(request)),
        "billing/add_consumable.html",
        lambda cleaned: add_consumable(by=request.user, at=timezone.now(), **cleaned),
        done="Added. It is charged from the next firing that is priced.",
        then="billing:consumables",
    )


@needs(*KEEPERS)
def edit(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Consumable, pk=pk)
    return answer_form(
        request,
        partial(EditConsumableForm, units=units_of(request)),
        "billing/edit_consumable.html",
        lambda cleaned: edit_consumable(
            by=request.user, at=timezone.now(), consumable=shown, **cleaned
        ),
        context={"consumable": shown},
        initial={name: getattr(shown, name) for name in EditConsumableForm.base_fields},
        done="Saved. What was charged before stays.",
        then="billing:consumables",
    )
