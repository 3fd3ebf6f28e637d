"""Part of a charge given back, and who worked at a firing."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse as address_of
from django.utils import timezone
from django.views.decorators.http import require_POST

from billing.actions.crew_turns import note_crew_turn, strike_crew_turn
from billing.actions.refunds import refund_share, refunded_minor
from billing.models import CrewTurn, Share
from billing.pages.membership_forms import CrewTurnForm, RefundForm
from firings.models import Firing
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form
from studio.pages.context import units_of

WORKERS = (Role.CREW, Role.TREASURER, Role.MANAGER)


@needs(*WORKERS)
def refund(request: HttpRequest, pk: int) -> HttpResponse:
    share = get_object_or_404(
        Share.objects.select_related("booking__member", "account", "cost__firing__kiln"), pk=pk
    )
    pieces = share.booking.pieces.order_by("pk")
    return answer_form(
        request,
        partial(RefundForm, units=units_of(request), pieces=pieces),
        "billing/refund.html",
        lambda cleaned: refund_share(
            by=request.user, at=timezone.now(), share=share, **RefundForm.fields_of(cleaned)
        ),
        context={
            "share": share,
            "left_minor": share.amount_minor - refunded_minor(share),
            "keeps_books": request.user.has_role(Role.TREASURER, Role.MANAGER),  # type: ignore[union-attr]
        },
        done="Given back. Its people read it on their account and on their next statement.",
        then=lambda _: address_of("firings:booking", args=[share.booking.slip]),
    )


@needs(*WORKERS)
def crew(request: HttpRequest, pk: int) -> HttpResponse:
    firing = get_object_or_404(Firing.objects.select_related("kiln"), pk=pk)
    context: dict[str, Any] = {
        "firing": firing,
        "turns": CrewTurn.objects.filter(firing=firing).select_related("person"),
    }
    return answer_form(
        request,
        CrewTurnForm,
        "billing/crew_of_firing.html",
        lambda cleaned: note_crew_turn(
            by=request.user, at=timezone.now(), firing=firing, **cleaned
        ),
        context=context,
        initial={"person": request.user.pk},
        done="Noted.",
        then=lambda _: address_of("billing:crew_of_firing", args=[pk]),
    )


@needs(*WORKERS)
@require_POST
def strike(request: HttpRequest, pk: int) -> HttpResponse:
    turn = get_object_or_404(CrewTurn.objects.select_related("firing"), pk=pk)
    return answer_deed(
        request,
        lambda: strike_crew_turn(by=request.user, at=timezone.now(), turn=turn),
        done="Taken back.",
        then=lambda _: address_of("billing:crew_of_firing", args=[turn.firing_id]),
    )
