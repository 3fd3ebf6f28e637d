"""The check before a firing is started: a short list that a person ticks and stands for."""

from __future__ import annotations

from functools import partial
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.utils.html import format_html

from firings.actions.start import CheckItem, start_check, start_firing
from firings.pages.found import firing_numbered, page_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of
from studio.pages.unit_fields import EnergyField, ReaderForm

REGISTER_WH_MAX = 10**12


class StartForm(ReaderForm):
    ticked = forms.MultipleChoiceField(
        label="Looked at and true",
        widget=forms.CheckboxSelectMultiple,
        error_messages={
            "required": "Look at each line at the kiln, and tick it when it is so.",
            "invalid_choice": "The list has changed meanwhile: look at it again.",
        },
    )
    register_start_wh = EnergyField(
        label="Meter register now",
        required=False,
        max_wh=REGISTER_WH_MAX,
        help_text="The number on the electricity meter, if this kiln has one. With the number at "
        "the end it gives the most trusted energy.",
    )
    override_reason = forms.CharField(
        label="Why you start although something is overdue",
        required=False,
        max_length=300,
        widget=forms.Textarea({"rows": 2}),
        help_text="Only for overdue lines that stay unticked. Kept with your name.",
    )

    def __init__(self, *args: Any, items: list[CheckItem], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["ticked"].choices = [(item.code, _line(item)) for item in items]
        if not any(item.is_overdue for item in items):
            del self.fields["override_reason"]


def _line(item: CheckItem) -> str:
    if not item.is_overdue:
        return item.text
    return format_html('<span><strong class="overdue">Overdue.</strong> {}</span>', item.text)


@needs(Role.CREW)
def start(request: HttpRequest, number: int) -> HttpResponse:
    """Tick the list, read the meter, start."""
    firing = firing_numbered(number)
    items = start_check(firing)
    return answer_form(
        request,
        partial(StartForm, items=items, units=units_of(request)),
        "firings/start.html",
        lambda cleaned: start_firing(by=request.user, at=timezone.now(), firing=firing, **cleaned),
        context={"firing": firing, "back": page_of(firing)},
        done=f"{firing} is started. Switch the kiln on as its maker says; "
        "Wareboard switches nothing.",
        then=page_of(firing),
    )
