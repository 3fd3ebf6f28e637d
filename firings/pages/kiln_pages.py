"""The kilns: all of them, and one with everything that belongs to it."""

from __future__ import annotations

from typing import Any

from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from firings.actions.cooling_habits import habits_of
from firings.actions.kiln_trends import kiln_trends
from firings.actions.start import firings_since_witness_cone
from firings.calculations.kiln_circuit import circuit_load
from firings.models import CareTask, Firing, Kiln, KilnPart, KilnState, ShelfSet
from firings.pages.alarms import alarms_of_kiln
from firings.pages.kiln_health import health_context
from studio.actions.trail import trail_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.context import units_of
from studio.pages.home import Panel

TRAIL_ROWS = 20


def _kilns() -> Any:
    """Kilns with their standard shelves, what is in them now, and open care."""
    return Kiln.objects.prefetch_related(
        Prefetch(
            "shelf_sets", ShelfSet.objects.filter(is_standard=True), to_attr="standard_shelf_sets"
        ),
        Prefetch("firings", Firing.objects.taking_the_kiln(), to_attr="firings_now"),
        Prefetch("care_tasks", CareTask.objects.filter(done_at=None), to_attr="open_care"),
    )


@needs(Role.MANAGER, Role.CREW, Role.TREASURER)
def kilns(request: HttpRequest) -> HttpResponse:
    return render(request, "firings/kiln_list.html", {"kilns": _kilns()})


@needs(Role.MANAGER, Role.CREW, Role.TREASURER)
def kiln(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(_kilns(), pk=pk)
    parts = KilnPart.objects.filter(kiln=shown)
    context = {
        "kiln": shown,
        "circuit": circuit_load(shown.rated_power_w, shown.supply_v, shown.breaker_a),
        "since_witness": firings_since_witness_cone(shown),
        "cooling": habits_of(shown),
        **health_context(kiln_trends(shown, at=timezone.now()), units_of(request)),
        "parts": parts.filter(retired_on=None),
        "retired": parts.exclude(retired_on=None).order_by("-retired_on", "-pk")[:10],
        "alarms": alarms_of_kiln(shown, units_of(request)),
        "tokens": shown.tokens.filter(revoked_at=None),
        "trail": trail_of(shown).order_by("-at", "-pk")[:TRAIL_ROWS],
        "is_out": shown.state == KilnState.OUT_OF_SERVICE,
        "may_manage": request.user.has_role(Role.MANAGER),
        "may_work": request.user.has_role(Role.MANAGER, Role.CREW),
    }
    return render(request, "firings/kiln.html", context)


def kilns_panel(request: HttpRequest) -> Panel | None:
    """For a manager: the kilns, and which need something."""
    if not request.user.has_role(Role.MANAGER):
        return None
    return Panel("firings/kiln_panel.html", {"kilns": _kilns()}, order=210)
