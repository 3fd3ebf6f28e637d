"""The journal as a file for other programs."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse, HttpResponseBase, StreamingHttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from billing.actions.export_journal import FORMATS, export_journal
from billing.pages.journal_pages import DaysForm
from billing.pages.my_account import today
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import FORM_INVALID


class ExportForm(DaysForm):
    file_format = forms.ChoiceField(
        label="Format", choices=[(key, each.label) for key, each in FORMATS.items()]
    )


@needs(Role.TREASURER)
@require_safe
def journal_export(request: HttpRequest) -> HttpResponse:
    """Choose the days, by default this year's until today, and the format."""
    day = today(request)
    form = ExportForm(initial={"first": day.replace(month=1, day=1), "last": day})
    return render(request, "billing/journal_export.html", {"form": form})


@needs(Role.TREASURER)
@require_safe
def journal_file(request: HttpRequest) -> HttpResponseBase:
    form = ExportForm(request.GET)
    if not form.is_valid():
        context = {"form": form}
        return render(request, "billing/journal_export.html", context, status=FORM_INVALID)
    export = export_journal(by=request.user, at=timezone.now(), **form.cleaned_data)
    answer = StreamingHttpResponse(export.pieces, content_type=export.content_type)
    answer["Content-Disposition"] = f'attachment; filename="{export.file_name}"'
    return answer
