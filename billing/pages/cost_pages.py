"""What firings cost and who carries it; a cost taken back, and a firing priced again."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.db.models import Count, Exists, OuterRef, Q, QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse as address_of
from django.utils import timezone
from django.views.decorators.http import require_POST

from billing.actions.price_firing import reprice_firing, reverse_firing_cost
from billing.models import FiringCost
from billing.pages.payment_forms import ReasonForm
from firings.models import Firing, FiringState
from studio.actions.trail import trail_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form

ROWS = 30
UNPRICED_ROWS = 50


@needs(Role.TREASURER, Role.MANAGER)
def costs(request: HttpRequest) -> HttpResponse:
    found = (
        FiringCost.objects.select_related("firing__kiln", "entry")
        .annotate(shares_count=Count("shares"))
        .order_by("-made_at", "-pk")
    )
    context = {
        "page": Paginator(found, ROWS).get_page(request.GET.get("page")),
        "unpriced": unpriced_firings()[:UNPRICED_ROWS],
        "keeps_books": request.user.has_role(Role.TREASURER),  # type: ignore[union-attr]
    }
    return render(request, "billing/costs.html", context)


@needs(Role.TREASURER, Role.MANAGER)
def cost(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(
        FiringCost.objects.select_related("firing__kiln", "entry", "tariff"), pk=pk
    )
    others = FiringCost.objects.filter(firing=shown.firing).exclude(pk=pk).order_by("pk")
    stands = shown.reversed_at is None
    context: dict[str, Any] = {
        "cost": shown,
        "lines": shown.lines.all(),
        "shares": shown.shares.select_related("booking__member", "account"),
        "crew_steps": shown.steps.filter(share=None),
        "others": others,
        "stands": stands,
        "may_reprice": not stands and not any(other.reversed_at is None for other in others),
        "trail": trail_of(shown),
        "keeps_books": request.user.has_role(Role.TREASURER),  # type: ignore[union-attr]
    }
    return render(request, "billing/cost.html", context)


@needs(Role.TREASURER)
def reverse(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(FiringCost.objects.select_related("firing__kiln"), pk=pk)
    return answer_form(
        request,
        ReasonForm,
        "billing/reverse_cost.html",
        lambda cleaned: reverse_firing_cost(
            by=request.user, at=timezone.now(), cost=shown, reason=cleaned["reason"]
        ),
        context={"cost": shown},
        done="Taken back. Correct what was wrong, then price the firing again.",
        then=lambda cost: address_of("billing:cost", args=[cost.pk]),
    )


@needs(Role.TREASURER)
@require_POST
def price_again(request: HttpRequest, pk: int) -> HttpResponse:
    firing = get_object_or_404(Firing, pk=pk)
    return answer_deed(
        request,
        lambda: reprice_firing(by=request.user, at=timezone.now(), firing=firing),
        done="Priced and posted.",
        then=lambda cost: address_of("billing:cost", args=[cost.pk]),
    )


def unpriced_firings() -> QuerySet[Firing]:
    """Firings that are over, used electricity, and have no cost in the books that stands."""
    standing = FiringCost.objects.filter(firing=OuterRef("pk"), reversed_at=None)
    return (
        Firing.objects.filter(state__in=[FiringState.CLOSED, FiringState.ABORTED])
        .filter(Q(energy_wh=None) | Q(energy_wh__gt=0), started_at__isnull=False)
        .exclude(Exists(standing))
        .select_related("kiln")
        .order_by("-started_at")
    )
