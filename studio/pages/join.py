"""Joining through the link of an invitation."""

from __future__ import annotations

from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters

from studio.actions.invitations import accept_invitation, open_invitation
from studio.models import Person
from studio.pages.answers import answer_form
from studio.pages.people_forms import JoinForm

SIGN_IN_BACKEND = "allauth.account.auth_backends.AuthenticationBackend"


@never_cache
@sensitive_post_parameters()
def join(request: HttpRequest, secret: str) -> HttpResponse:
    """Choose a password and be in; the link is refused with the reason when it cannot be used."""
    now = timezone.now()
    invitation = open_invitation(secret=secret, at=now)

    def accept(cleaned: dict[str, str]) -> Person:
        person = accept_invitation(
            secret=secret, at=now, name=cleaned["name"], password=cleaned["password"]
        )
        login(request, person, backend=SIGN_IN_BACKEND)
        return person

    return answer_form(
        request,
        JoinForm,
        "studio/join.html",
        accept,
        context={"invitation": invitation},
        initial={"name": invitation.name},
        done=lambda person: f"Welcome, {person.name}. You are signed in.",
        then="studio:home",
    )
