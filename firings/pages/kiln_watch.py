"""When the watch over a kiln speaks: its thresholds, and where each default comes from."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone

from firings.actions.watch import LIMIT_RANGES, set_watch_limits
from firings.calculations.watch_limits import OWN
from firings.models import Kiln, WatchLimits
from firings.pages.kiln_setup import page_of
from firings.pages.policy_forms import ROOM_GUIDE
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of
from studio.pages.unit_fields import ReaderForm, TemperatureField

AROUND = f"Empty: the studio's firing rules decide. {ROOM_GUIDE} speaks of 100 °F and 160 °F."


def _number(name: str, label: str, help_text: str) -> forms.IntegerField:
    low, high = LIMIT_RANGES[name]
    return forms.IntegerField(
        label=label, help_text=help_text, min_value=int(low), max_value=int(high)
    )


def _degrees(name: str, label: str, help_text: str) -> forms.FloatField:
    """A difference in degrees Celsius: no point on a scale, so it is not turned as one."""
    low, high = LIMIT_RANGES[name]
    return forms.FloatField(label=label, help_text=help_text, min_value=low, max_value=high)


def _limit(name: str, label: str) -> TemperatureField:
    low, high = LIMIT_RANGES[name]
    return TemperatureField(label=label, help_text=AROUND, min_c=low, max_c=high, required=False)


class WatchForm(ReaderForm):
    stall_percent = _number(
        "stall_percent", "Rises too slowly below (% of the rate it should have)", ""
    )
    stall_minutes = _number("stall_minutes", "looked at over (minutes)", "")
    off_set_point_c = _degrees("off_set_point_c", "Below its set point by (Celsius degrees)", "")
    off_set_point_minutes = _number("off_set_point_minutes", "for (minutes)", "")
    overshoot_c = _degrees(
        "overshoot_c",
        "Too hot above set point, top or cone limit by (Celsius degrees)",
        "The cone limit is the kiln's own, from its set-up.",
    )
    fall_c = _degrees("fall_c", "Falls while it should rise, by (Celsius degrees)", "")
    no_data_minutes = _number(
        "no_data_minutes",
        "No reading for (minutes)",
        "A logger that sends seldom is given three times its own interval.",
    )
    late_percent = _number(
        "late_percent", "Longer than its own past or its schedule by (%)", "An hour at least."
    )
    top_margin_c = _degrees(
        "top_margin_c",
        "Has reached its top within (Celsius degrees)",
        "A fall further below it may be a power cut: it ends no firing by itself.",
    )
    zone_spread_c = _degrees("zone_spread_c", "Zones apart from the first by (Celsius degrees)", "")
    room_limit_c = _limit("room_limit_c", "Room above")
    control_box_limit_c = _limit("control_box_limit_c", "Control box at")

    @staticmethod
    def initial_of(limits: WatchLimits) -> dict[str, Any]:
        return {name: getattr(limits, name) for name in WatchForm.base_fields}


@needs(Role.MANAGER)
def edit_watch(request: HttpRequest, pk: int) -> HttpResponse:
    kiln = get_object_or_404(Kiln, pk=pk)
    limits = WatchLimits.objects.filter(kiln=kiln).first() or WatchLimits(kiln=kiln)
    return answer_form(
        request,
        partial(WatchForm, units=units_of(request)),
        "firings/kiln_watch.html",
        lambda cleaned: set_watch_limits(
            by=request.user, at=timezone.now(), kiln=kiln, fields=cleaned
        ),
        context={"kiln": kiln, "source": OWN, "defaults": defaults()},
        initial=WatchForm.initial_of(limits),
        done="The watch goes by these from the next reading on.",
        then=page_of(kiln),
    )


def defaults() -> list[tuple[str, str, str]]:
    """Label, default and source of every threshold."""
    rows = []
    for name, field in WatchForm.base_fields.items():
        value = WatchLimits._meta.get_field(name).default
        is_around = name.startswith(("room", "control_box"))
        shown = "the firing rules" if is_around else f"{value:g}"
        rows.append((str(field.label), shown, f"{ROOM_GUIDE}." if is_around else OWN))
    return rows
