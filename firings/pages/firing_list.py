"""All firings: what is hot now, what comes next, what was."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from firings.models import KILN_IS_TAKEN, Firing, FiringState
from studio.models import Role
from studio.pages.access import needs

PAST_ON_A_PAGE = 20
COMING = (FiringState.PLANNED, FiringState.OPEN)
PAST = (FiringState.CLOSED, FiringState.CANCELLED, FiringState.ABORTED)
# What a glance is for: the hottest first, then what wants hands.
NOW_ORDER = ("firing", "cooling", "cooled", "loading", "opened")


@needs(Role.CREW, Role.MANAGER, Role.TREASURER)
def firings(request: HttpRequest) -> HttpResponse:
    """The board of firings."""
    coming = with_slips().filter(state__in=COMING).order_by("planned_for", "pk")
    past = with_slips().filter(state__in=PAST).order_by("-planned_for", "-pk")
    context = {
        "now": firings_now(),
        "coming": list(coming),
        "page": Paginator(past, PAST_ON_A_PAGE).get_page(request.GET.get("page")),
    }
    return render(request, "firings/firings.html", context)


def firings_now() -> list[Firing]:
    """Firings whose kiln is taken, or whose ware is not all unloaded and settled."""
    running = list(with_slips().filter(state__in=[*KILN_IS_TAKEN, FiringState.OPENED]))
    return sorted(running, key=lambda firing: (NOW_ORDER.index(firing.state), firing.pk))


def with_slips():  # type: ignore[no-untyped-def]
    """Firings with their kiln and how many slips are in each."""
    return Firing.objects.select_related("kiln").annotate(slips_count=Count("bookings"))
