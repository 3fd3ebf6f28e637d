"""Files of a utility's meter that measures one kiln: what was taken in, and one more."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.utils import timezone

from firings.actions.meter_files import TakenIn, take_in_meter_file
from firings.models import Kiln
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form

FILES_SHOWN = 24


class MeterFileForm(forms.Form):
    content = forms.FileField(
        label="The utility's file",
        help_text="Green Button interval data, an XML file. Most utilities offer it where "
        "customers see their use.",
    )
    meter = forms.CharField(
        label="Name of the meter",
        required=False,
        max_length=120,
        help_text="Only when the file holds several.",
    )
    measures_this_kiln_alone = forms.BooleanField(
        label="This meter measures this kiln and nothing else", required=False
    )


@needs(Role.CREW, Role.MANAGER)
def meter_files(request: HttpRequest, pk: int) -> HttpResponse:
    kiln = get_object_or_404(Kiln, pk=pk)

    def act(cleaned: dict[str, Any]) -> TakenIn:
        sent = cleaned.pop("content")
        return take_in_meter_file(
            by=request.user,
            at=timezone.now(),
            kiln=kiln,
            content=sent.read(),
            file_name=sent.name,
            **cleaned,
        )

    return answer_form(
        request,
        MeterFileForm,
        "firings/meter_files.html",
        act,
        context={
            "kiln": kiln,
            "files": kiln.meter_files.select_related("taken_in_by")[:FILES_SHOWN],
        },
        done=_what_was_taken_in,
        then=request.path,
    )


def _what_was_taken_in(taken: TakenIn) -> str:
    told = f"{taken.file.intervals_count} intervals are taken in."
    if taken.replaced:
        told += f" {taken.replaced} of an earlier file were replaced."
    return told
