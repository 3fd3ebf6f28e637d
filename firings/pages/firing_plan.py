"""A firing before it is hot: planned, announced, taken to loading, or called off."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from functools import partial
from typing import Any, ClassVar

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_POST

from firings.actions.plan_firing import (
    announce_firing,
    begin_loading,
    cancel_firing,
    plan_firing,
)
from firings.calculations.cones import CONES
from firings.models import FiringPolicy, Kiln, KilnState, Stage
from firings.pages.found import firing_numbered, page_of
from studio.calculations import quantities
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form
from studio.pages.context import Units, units_of
from studio.pages.rows import FormWithRows
from studio.pages.unit_fields import CountField, QuantityField, ReaderForm, TemperatureField
from studio.pages.widgets import MomentInput


class RateField(QuantityField):
    """Degrees an hour; returns C an hour as a float."""

    units: ClassVar[dict[str, str]] = {"C": "°C/h", "F": "°F/h"}
    places = 1

    def read_by(self, units: Units) -> None:
        super().read_by(units)
        self.unit = units.temperature

    def to_stored(self, number: Decimal, unit: str) -> float:
        return float(quantities.rate_to_c_per_h(number, unit))  # type: ignore[arg-type]

    def from_stored(self, stored: Any, unit: str) -> Decimal:
        return quantities.c_per_h_to(Decimal(str(stored)), unit)  # type: ignore[arg-type]


class RampRow(ReaderForm):
    rate_c_per_h = RateField(label="Ramp", low=1, high=2000)
    target_c = TemperatureField(label="To", min_c=0, max_c=1400)
    hold_minutes = CountField(
        label="Hold, in minutes", min_value=0, max_value=2880, initial=0, required=False
    )

    def clean_hold_minutes(self) -> int:
        return self.cleaned_data["hold_minutes"] or 0


class PlanForm(FormWithRows):
    row_form = RampRow
    rows_min, rows_max, rows_extra = 0, 12, 3

    kiln = forms.ModelChoiceField(Kiln.objects.none(), label="Kiln", empty_label=None)
    planned_for = forms.DateTimeField(label="When", widget=MomentInput)
    is_empty_first_firing = forms.BooleanField(
        label="Empty first firing",
        required=False,
        help_text="A new kiln, new elements, or back from repair: shelves and posts only, to cone "
        "04 with a witness cone. Stage and cone below are then set by themselves.",
    )
    stage = forms.ChoiceField(label="Stage", choices=Stage.choices)
    cone = forms.ChoiceField(label="Cone")
    note = forms.CharField(
        label="Note for crew", required=False, max_length=500, widget=forms.Textarea({"rows": 2})
    )

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        kiln_field = self.fields["kiln"]
        kiln_field.queryset = Kiln.objects.exclude(state=KilnState.OUT_OF_SERVICE)
        kiln_field.label_from_instance = _kiln_label
        self.fields["cone"].choices = [(cone, f"Cone {cone}") for cone in fired_cones()]


def _kiln_label(kiln: Kiln) -> str:
    due = "" if kiln.state == KilnState.IN_SERVICE else f", {kiln.get_state_display().lower()}"
    return f"{kiln} (to cone {kiln.cone_limit}{due})"


def fired_cones() -> list[str]:
    """The cones this studio fires, coolest first; all of the chart when it has not said."""
    policy = FiringPolicy.current()
    fired = {*policy.bisque_cones, *policy.glaze_cones}
    return [cone for cone in CONES if cone in fired] if fired else list(CONES)


@needs(Role.CREW, Role.MANAGER)
def plan(request: HttpRequest) -> HttpResponse:
    """Put a firing on the calendar; a queue's button fills in its stage and cone."""
    now = timezone.now().replace(minute=0, second=0, microsecond=0)
    wanted = {name: request.GET[name] for name in ("stage", "cone", "kiln") if name in request.GET}
    return answer_form(
        request,
        partial(PlanForm, units=units_of(request)),
        "firings/plan.html",
        lambda cleaned: _plan(cleaned, request, timezone.now()),
        initial={"planned_for": now, **wanted},
        done=lambda firing: f"{firing} in {firing.kiln} is planned.",
        then=page_of,
    )


def _plan(cleaned: dict[str, Any], request: HttpRequest, at: datetime) -> Any:
    ramps = cleaned.pop("rows")
    return plan_firing(by=request.user, at=at, schedule=ramps, **cleaned)


@needs(Role.CREW, Role.MANAGER)
@require_POST
def announce(request: HttpRequest, number: int) -> HttpResponse:
    """Let members book space on it."""
    firing = firing_numbered(number)
    return answer_deed(
        request,
        lambda: announce_firing(by=request.user, at=timezone.now(), firing=firing),
        done="Announced. Members can book space on this firing now.",
        then=page_of,
    )


@needs(Role.CREW)
@require_POST
def begin(request: HttpRequest, number: int) -> HttpResponse:
    """Take the kiln and load it."""
    firing = firing_numbered(number)
    return answer_deed(
        request,
        lambda: begin_loading(by=request.user, at=timezone.now(), firing=firing),
        done=f"{firing.kiln} is taken for this firing.",
        then=page_of,
    )


class ReasonForm(forms.Form):
    reason = forms.CharField(
        label="Why",
        max_length=300,
        widget=forms.Textarea({"rows": 3}),
        help_text="Members whose ware is in it read this.",
    )


@needs(Role.CREW, Role.MANAGER)
def cancel(request: HttpRequest, number: int) -> HttpResponse:
    """Call a firing off before it starts."""
    firing = firing_numbered(number)
    return answer_form(
        request,
        ReasonForm,
        "firings/cancel.html",
        lambda cleaned: cancel_firing(
            by=request.user, at=timezone.now(), firing=firing, reason=cleaned["reason"]
        ),
        context={"firing": firing, "back": page_of(firing)},
        done="Cancelled. Its ware waits in the queue again.",
        then=reverse("firings:firings"),
    )
