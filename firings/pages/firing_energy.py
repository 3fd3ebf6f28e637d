"""Where a firing's energy went, on its page; and what its ware weighs, typed by crew."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from firings.actions.energy_explained import explain_energy
from firings.actions.weigh_load import LOAD_KG, weigh_load
from firings.calculations.energy_balance import (
    COMBINED_WATER,
    FREE_WATER,
    FURNITURE,
    REST,
    WARE,
)
from firings.models import Firing
from firings.pages.found import firing_numbered, page_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of
from studio.pages.unit_fields import ReaderForm

PART_WORDS = {
    WARE: "Heat taken up by the ware",
    FURNITURE: "Heat taken up by shelves and posts",
    FREE_WATER: "Drying out the last moisture",
    COMBINED_WATER: "Driving out the water bound in the clay",
    REST: "Walls and losses (what is left)",
}


def energy_explained_context(firing: Firing) -> dict[str, Any]:
    """The balance and its parts in words; `explained` is None when there is none."""
    explained = explain_energy(firing)
    if explained is None:
        return {"explained": None}
    parts = []
    for part in explained.balance.parts:
        shown = {
            "energy_wh": part.energy_wh,
            "uncertainty_wh": part.uncertainty_wh,
            "percent": round(100 * part.share),
        }
        parts.append((shown, PART_WORDS[part.name]))
    return {"explained": explained, "balance_parts": parts}


class WeighForm(ReaderForm):
    load_kg = forms.FloatField(
        label="Weight of the ware (kg)",
        required=False,
        min_value=LOAD_KG[0],
        max_value=LOAD_KG[1],
        help_text="Empty: it is estimated from outlines and heights.",
        widget=forms.NumberInput({"step": "any", "inputmode": "decimal"}),
    )


@needs(Role.CREW)
def weigh(request: HttpRequest, number: int) -> HttpResponse:
    """Write down what the ware weighs."""
    firing = firing_numbered(number)
    return answer_form(
        request,
        partial(WeighForm, units=units_of(request)),
        "firings/weigh_load.html",
        lambda cleaned: weigh_load(
            by=request.user, at=timezone.now(), firing=firing, load_kg=cleaned["load_kg"]
        ),
        context={"firing": firing, "back": page_of(firing)},
        initial={"load_kg": firing.load_kg},
        done="The weight of the load is written down.",
        then=page_of(firing),
    )
