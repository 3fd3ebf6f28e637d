"""Forms about clays, glazes and the palette of sizes."""

from __future__ import annotations

from typing import Any

from django import forms
from django.db import models

from firings.calculations.footprints import GREATEST_SIZE_MM
from firings.models import FootprintShape
from firings.pages.kiln_forms import CONE_CHOICES, check_depth
from studio.pages.unit_fields import CountField, LengthField, ReaderForm


def _cone(label: str, initial: str) -> forms.ChoiceField:
    return forms.ChoiceField(label=label, choices=CONE_CHOICES, initial=initial)


def initial_of(form: type[forms.Form], record: models.Model) -> dict[str, Any]:
    """The record's own values in the form's fields."""
    return {name: getattr(record, name) for name in form.base_fields}


class GlazeForm(forms.Form):
    name = forms.CharField(label="Name", max_length=80)
    cone_low = _cone("Coolest cone", "5")
    cone_high = _cone("Hottest cone", "6")
    note = forms.CharField(
        label="Note", required=False, max_length=2000, widget=forms.Textarea({"rows": 3})
    )
    is_offered = forms.BooleanField(
        label="Members may choose it",
        help_text="Untick it when the studio no longer takes it. Ware that was booked keeps it.",
        required=False,
        initial=True,
    )


class ClayForm(GlazeForm):
    cone_low = _cone("Coolest cone of a glaze firing", "5")
    cone_high = _cone("Hottest cone of a glaze firing", "6")
    bisque_cone_low = _cone("Coolest cone of a bisque firing", "08")
    bisque_cone_high = _cone("Hottest cone of a bisque firing", "04")
    field_order = (
        "name", "bisque_cone_low", "bisque_cone_high", "cone_low", "cone_high", "note",
    )  # fmt: skip


class SizeForm(ReaderForm):
    name = forms.CharField(label="Name", max_length=40, help_text="Such as: mug, bowl, plate")
    shape = forms.ChoiceField(label="Footprint", choices=FootprintShape.choices)
    across_mm = LengthField(
        label="Width",
        help_text="The diameter if round, handles included.",
        min_mm=1,
        max_mm=GREATEST_SIZE_MM,
    )
    depth_mm = LengthField(
        label="Depth",
        help_text="Only of a rectangular footprint.",
        min_mm=1,
        max_mm=GREATEST_SIZE_MM,
        required=False,
    )
    height_mm = LengthField(label="Height", min_mm=1, max_mm=GREATEST_SIZE_MM)
    position = CountField(
        label="Place in the palette",
        help_text="Smaller numbers come first.",
        min_value=0,
        max_value=999,
        initial=0,
    )
    is_offered = forms.BooleanField(label="Members may choose it", required=False, initial=True)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        check_depth(self, cleaned, "shape", "depth_mm")
        return cleaned
