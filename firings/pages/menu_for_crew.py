"""Menu entries and home panels of the pages for crew."""

from __future__ import annotations

from django.http import HttpRequest
from django.utils import timezone

from firings.models import Booking, BookingState
from firings.pages.alarms import alarms_panel
from firings.pages.firing_list import firings_now
from firings.pages.kilns_now import open_care
from studio.models import Role
from studio.pages.context import studio_of
from studio.pages.home import Panel, register_panel
from studio.pages.nav import NavEntry, register_nav

SHOWN = 8


def register_crew_menu() -> None:
    crew = {"crew", "manager"}
    section = "Kilns"
    readers = crew | {"treasurer"}
    register_nav(NavEntry("Firings", "firings:firings", readers, section, 10, quick=True))
    register_nav(NavEntry("Queue", "firings:queue", crew, section, 20))
    register_nav(NavEntry("Kilns now", "firings:kilns_now", crew, section, 30))
    register_nav(NavEntry("Pick-up shelf", "firings:pick_up", crew, section, 40, quick=True))
    register_panel(alarms_panel)
    register_panel(running_panel)
    register_panel(care_panel)
    register_panel(overdue_panel)


def running_panel(request: HttpRequest) -> Panel | None:
    """What is hot, or wants hands, right now."""
    if not request.user.has_role(Role.CREW, Role.MANAGER):
        return None
    return Panel("firings/panels/running.html", {"now": firings_now()}, order=100)


def care_panel(request: HttpRequest) -> Panel | None:
    """What the kilns need."""
    if not request.user.has_role(Role.CREW):
        return None
    tasks = open_care()
    return Panel("firings/panels/care.html", {"tasks": tasks}, order=110) if tasks else None


def overdue_panel(request: HttpRequest) -> Panel | None:
    """What has stood on the pick-up shelf for longer than it should."""
    if not request.user.has_role(Role.CREW, Role.MANAGER):
        return None
    today = timezone.now().astimezone(studio_of(request).zone).date()
    overdue = Booking.objects.filter(state=BookingState.READY, pick_up_by__lt=today)
    slips = list(overdue.select_related("member").order_by("pick_up_by", "pk")[: SHOWN + 1])
    if not slips:
        return None
    context = {"slips": slips[:SHOWN], "has_more": len(slips) > SHOWN}
    return Panel("firings/panels/overdue.html", context, order=120)
