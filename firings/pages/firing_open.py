"""A firing cools, is opened at a measured temperature, and its witness cones are read."""

from __future__ import annotations

from decimal import Decimal
from functools import partial
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_POST

from firings.actions.cool_down import begin_cooling
from firings.actions.open_and_unload import ConeSeen, open_firing, record_witness_cones
from firings.calculations.cone_packs import pack_around, role_of
from firings.calculations.cones import CONES
from firings.calculations.witness_cones import bend_from_clock
from firings.models import ConePosition, ConeRole, Firing, FiringPolicy
from firings.pages.found import firing_numbered, page_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form
from studio.pages.context import units_of
from studio.pages.rows import FormWithRows
from studio.pages.unit_fields import CountField, ReaderForm, TemperatureField

BEND_FAULTS = ("invalid", "min_value", "max_value", "max_digits", "max_decimal_places")
CLOCK_WORDS = "Write a time from 12 (standing) over 3 to 6 (down), such as 4:30."
BEND_WORDS = "Write a number from 0 to 1, with at most two decimals."
POSITION_CHOICES = [("", "Not told apart"), *ConePosition.choices]
ROLE_CHOICES = [("", "As its cone says"), *ConeRole.choices]
CONE_CHOICES = [("", "Choose"), *((cone, f"Cone {cone}") for cone in CONES)]


@needs(Role.CREW)
@require_POST
def cool(request: HttpRequest, number: int) -> HttpResponse:
    """The programme has ended; the kiln cools now."""
    firing = firing_numbered(number)
    return answer_deed(
        request,
        lambda: begin_cooling(by=request.user, at=timezone.now(), firing=firing),
        done="Written down: the programme has ended, the kiln cools. It stays hot for many hours.",
        then=page_of(firing),
    )


class ConeRow(ReaderForm):
    role = forms.ChoiceField(label="Part of the pack", choices=ROLE_CHOICES, required=False)
    layer = CountField(label="Layer", min_value=1, max_value=30, required=False)
    position = forms.ChoiceField(
        label="Where on the layer", choices=POSITION_CHOICES, required=False
    )
    cone = forms.ChoiceField(label="Cone", choices=CONE_CHOICES, required=False)
    bend = forms.DecimalField(
        label="How far it bent, 0 to 1",
        required=False,
        min_value=0,
        max_value=1,
        max_digits=3,
        decimal_places=2,
        widget=forms.NumberInput({"step": "0.05", "inputmode": "decimal"}),
        error_messages=dict.fromkeys(BEND_FAULTS, BEND_WORDS),
    )
    clock = forms.CharField(
        label="or where its tip points, 12 to 6",
        required=False,
        max_length=5,
        widget=forms.TextInput({"placeholder": "4:30"}),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        self._read_clock(cleaned)
        if cleaned.get("bend") is None:
            return cleaned
        for name, message in (("layer", "On which layer?"), ("cone", "Which cone?")):
            if not cleaned.get(name) and name not in self.errors:
                self.add_error(name, message)
        return cleaned

    def _read_clock(self, cleaned: dict[str, Any]) -> None:
        """A tip that points like an hour hand: 12 stands, 6 is down."""
        clock = cleaned.get("clock")
        if not clock or "bend" in self.errors:
            return
        try:
            bend = Decimal(str(bend_from_clock(clock)))
        except ValueError:
            self.add_error("clock", CLOCK_WORDS)
            return
        if cleaned.get("bend") is not None and cleaned["bend"] != bend:
            self.add_error("clock", "This is not the bend beside it: write one of the two.")
            return
        cleaned["bend"] = bend


class ConesForm(FormWithRows):
    """Witness cones as found; a row without a bend is one that nobody has read."""

    row_form = ConeRow
    rows_min, rows_max, rows_extra = 0, 30, 2

    def cones_seen(self) -> list[ConeSeen]:
        return [
            ConeSeen(row["layer"], row["cone"], Decimal(row["bend"]), row["role"], row["position"])
            for row in self.cleaned_data.get("rows", ())
            if row.get("bend") is not None
        ]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        cleaned["cones"] = self.cones_seen()
        return cleaned


class OpenForm(ConesForm):
    temp_c = TemperatureField(
        label="Measured inside, just now",
        min_c=-20,
        max_c=1400,
        help_text="From the controller, a pyrometer or a thermocouple: not from a forecast.",
    )
    reason = forms.CharField(
        label="Why it is opened above the limit",
        required=False,
        max_length=300,
        widget=forms.Textarea({"rows": 2}),
        help_text="Only above the studio's limit. Kept with your name.",
    )


@needs(Role.CREW)
def open_kiln(request: HttpRequest, number: int) -> HttpResponse:
    """Say what was measured, and open."""
    firing = firing_numbered(number)

    def act(cleaned: dict[str, Any]) -> Firing:
        return open_firing(
            by=request.user,
            at=timezone.now(),
            firing=firing,
            temp_c=cleaned["temp_c"],
            reason=cleaned["reason"],
            cones=cleaned["cones"],
        )

    return answer_form(
        request,
        partial(OpenForm, units=units_of(request)),
        "firings/open.html",
        act,
        context={"firing": firing, "policy": FiringPolicy.current(), "back": page_of(firing)},
        initial={"rows": _packs(firing)},
        done="Opened. Unload it slip by slip.",
        then=page_of(firing),
    )


@needs(Role.CREW)
def witness_cones(request: HttpRequest, number: int) -> HttpResponse:
    """Write down, or put right, what the witness cones showed."""
    firing = firing_numbered(number)
    known = list(firing.witness_cones.values("layer", "position", "role", "cone", "bend"))
    return answer_form(
        request,
        partial(ConesForm, units=units_of(request)),
        "firings/witness_cones.html",
        lambda cleaned: record_witness_cones(
            by=request.user, at=timezone.now(), firing=firing, cones=cleaned["cones"]
        ),
        context={"firing": firing, "back": page_of(firing)},
        initial={"rows": [*known, *([] if known else _packs(firing))]},
        done="The witness cones are written down.",
        then=page_of(firing),
    )


def _packs(firing: Firing) -> list[dict[str, Any]]:
    """Rows for each layer that carries a cone pack, guide, firing cone and guard, to be read."""
    packs = firing.layers.exclude(cone_pack=None).values_list("position", flat=True)
    layers = sorted(set(packs)) or ([1] if firing.is_empty_first_firing else [])
    return [
        {"role": role_of(cone, firing.cone), "layer": layer, "cone": cone}
        for layer in layers
        for cone in pack_around(firing.cone)
    ]
