"""The studio's settings, for its managers."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from studio.actions.edit_studio import edit_studio
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import studio_of
from studio.pages.people_forms import StudioForm


@needs(Role.MANAGER)
def settings(request: HttpRequest) -> HttpResponse:
    return answer_form(
        request,
        StudioForm,
        "studio/settings.html",
        lambda cleaned: edit_studio(by=request.user, at=timezone.now(), **cleaned),
        initial=StudioForm.initial_of(studio_of(request)),
        done="The settings are saved.",
        then="studio:settings",
    )
