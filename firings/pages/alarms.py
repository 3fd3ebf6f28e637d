"""Alarms on the pages: what was measured in the reader's degrees, who has seen it, what to do."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from decimal import Decimal
from typing import Any, cast

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone
from django.views.decorators.http import require_POST

from firings.actions.alarms import REMARK_MAX, acknowledge_alarm
from firings.actions.cool_down import resume_firing
from firings.actions.plan_firing import STAYS_HOT_AT_MOST
from firings.calculations.watch_words import CAN_BE, DANGEROUS, sentence_of
from firings.models import KILN_IS_TAKEN, STAFF, Alarm, Firing, FiringState, Kiln
from firings.pages.found import firing_numbered, page_of
from studio.calculations.quantities import TemperatureUnit, format_rate, format_temperature
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form
from studio.pages.context import Units, units_of
from studio.pages.home import Panel

SHOWN = 10


@dataclass(frozen=True)
class AlarmSeen:
    """An alarm as a reader reads it."""

    alarm: Alarm
    sentence: str
    can_be: str
    is_dangerous: bool


def seen_by(alarm: Alarm, units: Units) -> AlarmSeen:
    """An alarm in the degrees of its reader."""
    unit = cast(TemperatureUnit, units.temperature)

    def heat(temp_c: float) -> str:
        return format_temperature(Decimal(str(temp_c)), unit, units.locale, digits=1)

    def rate(c_per_h: float) -> str:
        return format_rate(Decimal(str(c_per_h)), unit, units.locale)

    return AlarmSeen(
        alarm,
        sentence_of(alarm.kind, alarm.evidence, heat, rate),
        CAN_BE[alarm.kind],
        alarm.kind in DANGEROUS,
    )


def alarms_context(request: HttpRequest, firing: Firing) -> dict[str, Any]:
    """The alarms of one firing, for crew and staff: open ones, and those over. One query."""
    if not request.user.has_role(*STAFF):
        return {}
    units = units_of(request)
    alarms = [seen_by(alarm, units) for alarm in _with_person(firing.alarms.all())]
    open_alarms = [one for one in alarms if one.alarm.cleared_at is None]
    return {
        "alarms": open_alarms,
        # Names what is shown: the page keeps this part, and a remark half typed, until it changes.
        "alarms_mark": "-".join(
            f"{one.alarm.pk}{'a' if one.alarm.acknowledged_at else ''}" for one in open_alarms
        ),
        "past_alarms": [one for one in alarms if one.alarm.cleared_at is not None],
        "may_acknowledge": request.user.has_role(Role.CREW, Role.MANAGER),
    }


def open_alarms_of_hot_kilns() -> list[Alarm]:
    """What is open at kilns that may be hot, oldest first."""
    lately = timezone.now() - STAYS_HOT_AT_MOST
    alarms = Alarm.objects.open().select_related("firing__kiln", "acknowledged_by")
    hot = alarms.filter(firing__state__in=KILN_IS_TAKEN)
    broken_off = alarms.filter(firing__state=FiringState.ABORTED, firing__closed_at__gt=lately)
    return list((hot | broken_off).order_by("raised_at", "pk"))


def alarms_panel(request: HttpRequest) -> Panel | None:
    """On the home page of crew and managers, before all else; only when there is one."""
    if not request.user.has_role(Role.CREW, Role.MANAGER):
        return None
    units = units_of(request)
    alarms = [seen_by(alarm, units) for alarm in open_alarms_of_hot_kilns()]
    return Panel("firings/panels/alarms.html", {"alarms": alarms}, order=5) if alarms else None


def alarms_of_kiln(kiln: Kiln, units: Units) -> list[AlarmSeen]:
    """The latest alarms of a kiln's firings."""
    alarms = _with_person(Alarm.objects.filter(firing__kiln=kiln))[:SHOWN]
    return [seen_by(alarm, units) for alarm in alarms]


def _with_person(alarms: Any) -> Iterable[Alarm]:
    return alarms.select_related("firing", "acknowledged_by")  # type: ignore[no-any-return]


@needs(Role.CREW, Role.MANAGER)
@require_POST
def acknowledge(request: HttpRequest, pk: int) -> HttpResponse:
    """Somebody has seen an alarm."""
    alarm = get_object_or_404(Alarm.objects.select_related("firing"), pk=pk)
    return answer_deed(
        request,
        lambda: acknowledge_alarm(
            by=request.user,
            at=timezone.now(),
            alarm=alarm,
            remark=request.POST.get("remark", "").replace("\0", ""),
        ),
        done=f"Written down: you have seen “{alarm.get_kind_display()}”. It switches nothing.",
        then=page_of(alarm.firing),
    )


class ResumeForm(forms.Form):
    reason = forms.CharField(
        label="Why it goes on",
        max_length=REMARK_MAX,
        help_text="Such as: the power was off for half an hour; the controller went on by itself.",
    )


@needs(Role.CREW)
def resume(request: HttpRequest, number: int) -> HttpResponse:
    """What read as cooling was a power cut: the firing goes on."""
    firing = firing_numbered(number)
    return answer_form(
        request,
        ResumeForm,
        "firings/resume.html",
        lambda cleaned: resume_firing(
            by=request.user, at=timezone.now(), firing=firing, reason=cleaned["reason"]
        ),
        context={"firing": firing, "back": page_of(firing)},
        done="Written down: the firing goes on. It is watched from here.",
        then=page_of(firing),
    )
