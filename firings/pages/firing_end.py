"""A firing ends: closed with its result, or broken off with a reason."""

from __future__ import annotations

from functools import partial

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from firings.actions.end_firing import abort_firing, close_firing
from firings.calculations.cones import CONES
from firings.models import Firing, Result
from firings.pages.energy_words import energy_sentence
from firings.pages.firing_cones import cones_context
from firings.pages.firing_start import REGISTER_WH_MAX
from firings.pages.found import firing_numbered, page_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of
from studio.pages.unit_fields import EnergyField, ReaderForm

KILN_FAULT_HELP = "The kiln itself spoiled it: the studio carries the cost."


class CloseForm(ReaderForm):
    result = forms.ChoiceField(
        label="How it came out", choices=Result.choices, widget=forms.RadioSelect
    )
    reached_cone = forms.ChoiceField(
        label="Cone it reached",
        required=False,
        choices=[("", "Not judged"), *((cone, f"Cone {cone}") for cone in CONES)],
        help_text="As you judge from the witness cones.",
    )
    register_start_wh = EnergyField(
        label="Meter register at the start", required=False, max_wh=REGISTER_WH_MAX
    )
    register_end_wh = EnergyField(
        label="Meter register at the end",
        required=False,
        max_wh=REGISTER_WH_MAX,
        help_text="Without both, the energy is taken from the log, or from like firings.",
    )
    is_kiln_fault = forms.BooleanField(
        label="The kiln was at fault", required=False, help_text=KILN_FAULT_HELP
    )


@needs(Role.CREW)
def close(request: HttpRequest, number: int) -> HttpResponse:
    """Close it once everything is unloaded; its cost is shared out."""
    firing = firing_numbered(number)
    return answer_form(
        request,
        partial(CloseForm, units=units_of(request)),
        "firings/close.html",
        lambda cleaned: close_firing(by=request.user, at=timezone.now(), firing=firing, **cleaned),
        context={
            "firing": firing,
            "back": page_of(firing),
            **cones_context(firing, units_of(request)),
        },
        initial={"register_start_wh": firing.register_start_wh, "reached_cone": firing.cone},
        done=_closed,
        then=page_of(firing),
    )


def _closed(firing: Firing) -> str:
    return f"{firing} is closed. {energy_sentence(firing)}"


class AbortForm(ReaderForm):
    reason = forms.CharField(
        label="What happened",
        max_length=300,
        widget=forms.Textarea({"rows": 3}),
        help_text="Members whose ware is in it read this.",
    )
    register_end_wh = EnergyField(
        label="Meter register now", required=False, max_wh=REGISTER_WH_MAX
    )
    is_kiln_fault = forms.BooleanField(
        label="The kiln was at fault",
        required=False,
        help_text=f"{KILN_FAULT_HELP} The kiln goes out of service until it is repaired.",
    )


@needs(Role.CREW)
def abort(request: HttpRequest, number: int) -> HttpResponse:
    """Break it off; the kiln may stay hot for many hours all the same."""
    firing = firing_numbered(number)
    return answer_form(
        request,
        partial(AbortForm, units=units_of(request)),
        "firings/abort.html",
        lambda cleaned: abort_firing(by=request.user, at=timezone.now(), firing=firing, **cleaned),
        context={"firing": firing, "back": page_of(firing)},
        done="Broken off. Its ware waits in the queue again; its members are told.",
        then=page_of(firing),
    )
