"""A person reads the controller, a pyrometer or the meter, and types it."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from firings.actions.readings import Received, add_firing_readings
from firings.calculations.readings import Reading
from firings.models import ReadingSource
from firings.pages.firing_start import REGISTER_WH_MAX
from firings.pages.found import firing_numbered, page_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of
from studio.pages.unit_fields import EnergyField, ReaderForm, TemperatureField
from studio.pages.widgets import MomentInput


class ReadingForm(ReaderForm):
    temp_c = TemperatureField(label="Temperature inside", min_c=-50, max_c=1500)
    at = forms.DateTimeField(label="Read at", widget=MomentInput)
    set_point_c = TemperatureField(label="Set point", required=False, min_c=-50, max_c=1500)
    register_wh = EnergyField(label="Meter register", required=False, max_wh=REGISTER_WH_MAX)
    room_c = TemperatureField(label="Room", required=False, min_c=-50, max_c=150)


@needs(Role.CREW)
def type_reading(request: HttpRequest, number: int) -> HttpResponse:
    """Add one reading by hand."""
    firing = firing_numbered(number)

    def act(cleaned: dict[str, Any]) -> Received:
        return add_firing_readings(
            by=request.user,
            at=timezone.now(),
            firing=firing,
            readings=[Reading(**cleaned)],
            source=ReadingSource.HAND,
        )

    return answer_form(
        request,
        partial(ReadingForm, units=units_of(request)),
        "firings/type_reading.html",
        act,
        context={"firing": firing, "back": page_of(firing)},
        initial={"at": timezone.now().replace(second=0, microsecond=0)},
        done=lambda received: (
            "Written down."
            if received.stored
            else "A reading of this very minute was there already: nothing is changed."
        ),
        then=page_of(firing),
    )
