"""Every kiln at a glance: what runs in it, what comes next, what care it needs."""

from __future__ import annotations

from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from firings.actions.kilns import finish_care
from firings.actions.plan_firing import STAYS_HOT_AT_MOST
from firings.models import (
    KILN_IS_TAKEN,
    Alarm,
    CareKind,
    CareTask,
    Firing,
    FiringPolicy,
    FiringState,
    Kiln,
)
from firings.pages.alarms import open_alarms_of_hot_kilns
from firings.pages.kiln_setup import page_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed


@dataclass(frozen=True)
class KilnNow:
    """A kiln with the firing that has it, the next one, and its open care tasks.

    `broken_off` is a firing that ended so lately that the kiln may be hot, and its ware in it.
    """

    kiln: Kiln
    running: Firing | None
    coming: Firing | None
    care: tuple[CareTask, ...]
    broken_off: Firing | None = None
    alarms: tuple[Alarm, ...] = ()


@needs(Role.CREW, Role.MANAGER)
def kilns_now(request: HttpRequest) -> HttpResponse:
    """The kilns, one card each."""
    return render(request, "firings/kilns_now.html", {"kilns": all_kilns_now()})


def all_kilns_now() -> list[KilnNow]:
    """Six queries, however many kilns there are."""
    unsettled = Firing.objects.filter(
        state__in=[*KILN_IS_TAKEN, FiringState.OPENED, FiringState.PLANNED, FiringState.OPEN]
    ).order_by("planned_for", "pk")
    running: dict[int, Firing] = {}
    coming: dict[int, Firing] = {}
    for firing in unsettled:
        is_coming = firing.state in (FiringState.PLANNED, FiringState.OPEN)
        (coming if is_coming else running).setdefault(firing.kiln_id, firing)
        if firing.state in KILN_IS_TAKEN:
            running[firing.kiln_id] = firing
    lately = Firing.objects.filter(
        state=FiringState.ABORTED, closed_at__gt=timezone.now() - STAYS_HOT_AT_MOST
    ).exclude(log_last_c__lte=FiringPolicy.current().opening_limit_c)
    broken_off = {firing.kiln_id: firing for firing in lately.order_by("closed_at")}
    care: dict[int, list[CareTask]] = {}
    for task in open_care():
        care.setdefault(task.kiln_id, []).append(task)
    alarms: dict[int, list[Alarm]] = {}
    for alarm in open_alarms_of_hot_kilns():
        alarms.setdefault(alarm.firing.kiln_id, []).append(alarm)
    return [
        KilnNow(
            kiln,
            running.get(kiln.pk),
            coming.get(kiln.pk),
            tuple(care.get(kiln.pk, ())),
            broken_off.get(kiln.pk),
            tuple(alarms.get(kiln.pk, ())),
        )
        for kiln in Kiln.objects.all()
    ]


def open_care() -> list[CareTask]:
    """What the kilns need, longest due first."""
    tasks = list(CareTask.objects.filter(done_at=None).select_related("kiln"))
    for task in tasks:
        task.is_done_by_firing = task.kind == CareKind.FIRST_FIRING
    return tasks


@needs(Role.CREW, Role.MANAGER)
@require_POST
def finish(request: HttpRequest, task: int) -> HttpResponse:
    """A care task is done; back to the page on which that was said."""
    found = get_object_or_404(CareTask.objects.select_related("kiln"), pk=task)
    is_from_kiln = request.POST.get("came_from") == "kiln"
    return answer_deed(
        request,
        lambda: finish_care(by=request.user, at=timezone.now(), task=found),
        done=f"Done: {found.get_kind_display().lower()}, {found.kiln}.",
        then=page_of(found.kiln) if is_from_kiln else "firings:kilns_now",
    )
