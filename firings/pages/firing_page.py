"""The page of a firing: its main part depends on the state, and says what happens next."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db.models import Count
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone

from firings.actions.cooling_habits import forecast_of
from firings.actions.log_summary import short_log
from firings.actions.promised_space import promises_fit
from firings.calculations.firing_summary import FiringSummary
from firings.calculations.readings import GAP_MAX
from firings.models import Booking, BookingState, Firing, FiringPolicy, FiringState
from firings.pages.alarms import alarms_context
from firings.pages.curve import draw_curve
from firings.pages.energy_words import disagreement_sentences, other_sources, source_words
from firings.pages.firing_cones import cones_context, log_cone_context
from firings.pages.firing_energy import energy_explained_context
from firings.pages.firing_stages import stage_rows
from firings.pages.found import firing_numbered
from firings.pages.load_page import load_context
from studio.actions.trail import trail_of
from studio.models import Person, Role
from studio.pages.access import signed_in
from studio.pages.context import units_of
from studio.pages.more_about import more_about
from studio.pages.steps import Step
from studio.refusals import Denied

# Which part of the page a state shows.
PARTS = {
    "planned": "before",
    "open": "before",
    "loading": "loading",
    "firing": "hot",
    "cooling": "hot",
    "cooled": "hot",
    "opened": "opened",
    "closed": "closed",
    "cancelled": "ended",
    "aborted": "ended",
}
NEXT = {
    "planned": "Next: announce it so that members can book space on it, or begin loading.",
    "open": "Members can book space on it. Next: when its day has come, begin loading.",
    "loading": "Next: fill the load, look at the layout, then do the check before the start.",
    "firing": "Next: when the programme has ended, say so here. A fall from its top says it too.",
    "cooling": "Next: when it reads the opening limit or less, measure, and open it.",
    "cooled": "Next: go and look, measure, and open it.",
    "opened": "Next: unload it slip by slip, then close it.",
    "closed": "All done.",
    "cancelled": "It was called off before it started. Its ware waits in the queue.",
    "aborted": "It was broken off. Its ware waits in the queue.",
}
LIVE = (FiringState.FIRING, FiringState.COOLING)
WAY = (
    ("Planned", ("planned", "open")),
    ("Loading", ("loading",)),
    ("Firing", ("firing",)),
    ("Cooling", ("cooling", "cooled")),
    ("Unloading", ("opened",)),
    ("Closed", ("closed",)),
)


@signed_in
def firing_page(request: HttpRequest, number: int) -> HttpResponse:
    """Crew and staff see all of it; a member whose ware is in it reads its curve and state."""
    firing = firing_numbered(number)
    is_staff = check_may_read(request.user, firing)
    part, policy = PARTS[firing.state], FiringPolicy.current()
    context: dict[str, Any] = {
        "firing": firing,
        "policy": policy,
        "is_staff": is_staff,
        "is_crew": request.user.has_role(Role.CREW),
        "may_plan": request.user.has_role(Role.CREW, Role.MANAGER),
        "part": f"firings/firing/{part}.html",
        "next": NEXT[firing.state],
        "steps": steps_of(firing),
        "is_live": firing.state in LIVE,
        "energy_source": source_words(firing),
        "energy_others": other_sources(firing),
        "energy_disagreements": disagreement_sentences(firing),
    }
    if firing.started_at:
        context |= live_context(request, firing, policy)
        context |= drawn_context(request, firing, policy)
    if not is_staff:
        own = firing.bookings.visible_to(request.user).annotate(pieces_count=Count("pieces"))
        return render(request, "firings/firing_for_member.html", {**context, "slips": list(own)})
    context |= _part_context(request, firing, part)
    context["more"] = more_about(request, firing)
    context["trail"] = list(trail_of(firing).order_by("-at", "-pk"))
    return render(request, "firings/firing.html", context)


@signed_in
def live(request: HttpRequest, number: int) -> HttpResponse:
    """Alarms, the latest reading and the forecast, asked for again and again while it is hot."""
    firing = firing_numbered(number)
    check_may_read(request.user, firing)
    context = {"firing": firing, "is_live": True}
    if firing.started_at:
        context |= live_context(request, firing, FiringPolicy.current())
    answer = render(request, "firings/firing/live.html", context)
    if request.GET.get("state") != firing.state:
        # Another state has another main deed, which stands outside this part.
        answer["HX-Refresh"] = "true"
    return answer


@signed_in
def drawn(request: HttpRequest, number: int) -> HttpResponse:
    """The drawing of the curve and its tables, asked for now and then while it is hot."""
    firing = firing_numbered(number)
    check_may_read(request.user, firing)
    context = {"firing": firing, "is_live": firing.state in LIVE}
    if firing.started_at:
        context |= drawn_context(request, firing, FiringPolicy.current())
    return render(request, "firings/firing/drawn_again.html", context)


def check_may_read(person: Person, firing: Firing) -> bool:
    """True for crew and staff, False for a member with ware in it; refused for all others."""
    if person.has_role(Role.CREW, Role.MANAGER, Role.TREASURER):
        return True
    if firing.bookings.visible_to(person).exists():
        return False
    raise Denied(
        "not_your_firing",
        "Only kiln crew and members whose ware is in this firing see its page.",
    )


def live_context(request: HttpRequest, firing: Firing, policy: FiringPolicy) -> dict[str, Any]:
    """The alarms, the latest reading and, while it is hot, the forecast."""
    now = timezone.now()
    context: dict[str, Any] = {
        "limit_c": policy.opening_limit_c,
        "summary": FiringSummary.from_json(firing.log_summary),
        "silent_for_s": _silent_for_s(firing, now),
        "live_url": f"{reverse('firings:firing_live', args=[firing.pk])}?state={firing.state}",
        "now": now,
        "forecast": forecast_of(firing, now),
        **alarms_context(request, firing),
    }
    if firing.state in LIVE:
        context |= log_cone_context(firing, units_of(request))
    return context


def drawn_context(request: HttpRequest, firing: Firing, policy: FiringPolicy) -> dict[str, Any]:
    """The curve as a drawing and as tables; the chart asks for its data by itself."""
    units, summary = units_of(request), FiringSummary.from_json(firing.log_summary)
    return {
        "curve": draw_curve(
            list(short_log(firing)),
            started_at=firing.started_at or firing.planned_for,
            limit_c=policy.opening_limit_c,
            unit=units.temperature,
        ),
        "limit_c": policy.opening_limit_c,
        "summary": summary,
        "stages": stage_rows(summary),
        "chart_locale": units.locale.replace("_", "-"),
    }


def _silent_for_s(firing: Firing, now: datetime) -> float | None:
    """How long a hot kiln has sent nothing, when that is too long."""
    if firing.state not in LIVE:
        return None
    since = firing.log_last_at or firing.started_at
    silent = now - since
    return silent.total_seconds() if silent > GAP_MAX else None


def _part_context(request: HttpRequest, firing: Firing, part: str) -> dict[str, Any]:
    if part == "loading":
        return load_context(request, firing)
    slips = _slips(firing)
    context: dict[str, Any] = {"slips": slips}
    if firing.state == FiringState.OPEN:
        context["promises_fit"] = promises_fit(firing)
    if part == "opened":
        to_unload = [slip for slip in slips if slip.state == BookingState.FIRED]
        context["to_unload"] = to_unload
        context["next_slip"] = to_unload[0] if to_unload else None
        context["witness_cones"] = list(firing.witness_cones.all())
    if part == "closed":
        context |= cones_context(firing, units_of(request))
        context |= energy_explained_context(firing)
    return context


def _slips(firing: Firing) -> list[Booking]:
    slips = firing.bookings.select_related("member").annotate(pieces_count=Count("pieces"))
    return list(slips.order_by("pk"))


def steps_of(firing: Firing) -> list[Step]:
    """The way of a firing, with what has happened so far."""
    moments = {
        "Planned": firing.planned_for,
        "Firing": firing.started_at,
        "Cooling": firing.cooling_at,
        "Unloading": firing.opened_at,
        "Closed": firing.closed_at if firing.state == FiringState.CLOSED else None,
    }
    if firing.state in (FiringState.CANCELLED, FiringState.ABORTED):
        return _steps_until_the_end(firing, moments)
    here = next(index for index, (_, states) in enumerate(WAY) if firing.state in states)
    is_over = firing.state == FiringState.CLOSED
    steps = []
    for index, (label, _) in enumerate(WAY):
        state = "done" if index < here or is_over else "now" if index == here else "next"
        steps.append(Step(label, state, moments.get(label) if index <= here else None))
    return steps


def _steps_until_the_end(firing: Firing, moments: dict[str, datetime | None]) -> list[Step]:
    done = [Step("Planned", "done", firing.planned_for)]
    done += [
        Step(label, "done", moments[label])
        for label in ("Firing", "Cooling")
        if moments[label] is not None
    ]
    return [*done, Step(firing.get_state_display(), "missed", firing.closed_at)]
