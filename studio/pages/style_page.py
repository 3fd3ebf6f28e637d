"""The style page: every part that pages are made of, once, to look at and to test."""

from __future__ import annotations

from datetime import timedelta

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from studio.models import Role
from studio.pages.access import needs
from studio.pages.cautions import CAUTIONS
from studio.pages.context import Units, units_of
from studio.pages.rows import FormWithRows
from studio.pages.steps import Step
from studio.pages.unit_fields import (
    AmountField,
    CountField,
    EnergyField,
    LengthField,
    PowerField,
    ReaderForm,
    TemperatureField,
)
from studio.pages.widgets import DayInput, MomentInput
from studio.pages.words import TONES, known_words


class SampleRow(ReaderForm):
    height_mm = LengthField(label="Height", min_mm=1, max_mm=2000)
    count = CountField(label="How many", max_value=500, initial=1)


class SampleForm(FormWithRows):
    row_form = SampleRow
    rows_extra = 1

    what = forms.CharField(label="What it is", max_length=80, help_text="A few words.")
    stage = forms.ChoiceField(
        choices=[("bisque", "Bisque"), ("glaze", "Glaze")], widget=forms.RadioSelect
    )
    kiln = forms.ChoiceField(choices=[("", "Any kiln"), ("1", "Kiln 1")], required=False)
    dry_on = forms.DateField(label="Dry on", widget=DayInput)
    starts_at = forms.DateTimeField(label="Starts", widget=MomentInput, required=False)
    peak_c = TemperatureField(label="Peak", min_c=20, max_c=1400, required=False)
    energy_wh = EnergyField(label="Meter", max_wh=10**9, required=False)
    power_w = PowerField(label="Power", max_w=100_000, required=False)
    amount_minor = AmountField(label="Amount", required=False)
    is_dry = forms.BooleanField(label="It is bone dry")
    note = forms.CharField(widget=forms.Textarea({"rows": 3}), required=False)


def _sample_steps() -> list[Step]:
    now = timezone.now()
    return [
        Step("Booked", "done", now - timedelta(days=6)),
        Step("In a load", "done", now - timedelta(days=2)),
        Step("Firing", "now", note="Kiln 1, layer 2"),
        Step("Ready", "next"),
        Step("Collected", "next"),
    ]


def _wrong_form(units: Units) -> SampleRow:
    typed = {"wrong-height_mm": "12 cm", "wrong-height_mm_unit": "cm", "wrong-count": "0"}
    return SampleRow(data=typed, units=units, prefix="wrong")


@needs(Role.MANAGER)
def style(request: HttpRequest) -> HttpResponse:
    """Shows only samples; its forms go nowhere."""
    units = units_of(request)
    context = {
        "alerts": ("info", "good", "warning", "danger"),
        "cautions": tuple(CAUTIONS),
        "tones": TONES,
        "words": {kind: tuple(states) for kind, states in known_words().items()},
        "steps_of_a_pot": _sample_steps(),
        "form": SampleForm(units=units, initial={"peak_c": 1222.0, "rows": [{"height_mm": 120}]}),
        "wrong_form": _wrong_form(units),
        "now": timezone.now(),
        "tomorrow": timezone.now() + timedelta(days=1),
    }
    return render(request, "studio/style.html", context)
