"""The house with the sample pages added."""

from functools import partial

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import include, path
from django.views.decorators.http import require_POST

from studio.models import Role
from studio.pages.access import needs, signed_in
from studio.pages.answers import answer_deed, answer_form
from studio.pages.context import units_of
from studio.pages.rows import FormWithRows
from studio.pages.unit_fields import CountField, LengthField, ReaderForm
from studio.pages.widgets import MomentInput
from studio.refusals import Refusal


class PieceRow(ReaderForm):
    height_mm = LengthField(label="Height", min_mm=1, max_mm=2000)
    count = CountField(label="How many", max_value=500, initial=1)


class PieceForm(FormWithRows):
    row_form = PieceRow
    rows_max = 5

    name = forms.CharField(max_length=20)
    starts_at = forms.DateTimeField(widget=MomentInput, required=False)


DONE: list[dict] = []


def _do(cleaned: dict) -> str:
    refused = {
        "top": Refusal("kiln_busy", "The kiln is busy. Choose another day."),
        "field": Refusal("name_taken", "This name is taken.", field="name", status=422),
        "row": Refusal("too_tall", "Too tall for the kiln.", field="rows-1-height_mm"),
    }.get(cleaned["name"])
    if refused:
        raise refused
    DONE.append(cleaned)
    return cleaned["name"]


@signed_in
def sample(request: HttpRequest) -> HttpResponse:
    return answer_form(
        request,
        partial(PieceForm, units=units_of(request)),
        "sample_form.html",
        _do,
        done=lambda name: f"{name} is saved.",
        then="studio:home",
    )


@needs(Role.CREW, Role.TREASURER)
def for_crew(request: HttpRequest) -> HttpResponse:
    return HttpResponse("for crew")


def _refuse() -> None:
    raise Refusal("still_hot", "The kiln is still hot. Wait until it has cooled.")


@require_POST
@signed_in
def refused_deed(request: HttpRequest) -> HttpResponse:
    return answer_deed(request, _refuse, then="studio:home")


@require_POST
@signed_in
def done_deed(request: HttpRequest) -> HttpResponse:
    return answer_deed(request, lambda: None, done="Collected.", then="studio:home")


@signed_in
def refused_page(request: HttpRequest) -> HttpResponse:
    _refuse()
    return HttpResponse()


urlpatterns = [
    path("sample/", sample),
    path("sample/crew/", for_crew),
    path("sample/refused-deed/", refused_deed),
    path("sample/done-deed/", done_deed),
    path("sample/refused-page/", refused_page),
    path("", include("studio.urls")),
]
handler400 = "studio.pages.errors.bad_request"
