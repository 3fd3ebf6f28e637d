"""Inviting people and taking invitations back."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from studio.actions.invitations import invite_person, revoke_invitation
from studio.models import Invitation, Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form
from studio.pages.people_forms import InviteForm


@never_cache
@needs(Role.MANAGER)
def invite(request: HttpRequest) -> HttpResponse:
    """Send an invitation; the link is on the page that follows, and nowhere afterwards."""
    made: list[tuple[Invitation, str]] = []
    answer = answer_form(
        request,
        InviteForm,
        "studio/invite.html",
        lambda cleaned: made.append(invite_person(by=request.user, at=timezone.now(), **cleaned)),
        initial=_first_values(request),
        then="studio:people",
    )
    if not made:
        return answer
    [(invitation, secret)] = made
    link = settings.PUBLIC_URL + reverse("studio:join", args=[secret])
    return render(request, "studio/invited.html", {"invitation": invitation, "link": link})


def _first_values(request: HttpRequest) -> dict[str, Any]:
    """Those of an earlier invitation, when one that has expired is sent again."""
    number = request.GET.get("again", "")
    earlier = Invitation.objects.filter(pk=int(number[:18])) if number.isdecimal() else None
    if earlier is None or (invitation := earlier.first()) is None:
        return {"roles": [Role.MEMBER]}
    return {
        "name": invitation.name,
        "email": invitation.email,
        "roles": invitation.roles,
        "account": invitation.account_id,
    }


@needs(Role.MANAGER)
@require_POST
def revoke(request: HttpRequest, pk: int) -> HttpResponse:
    invitation = get_object_or_404(Invitation, pk=pk)
    return answer_deed(
        request,
        lambda: revoke_invitation(by=request.user, at=timezone.now(), invitation=invitation),
        done=f"The invitation of {invitation.name} is taken back.",
        then="studio:people",
    )
