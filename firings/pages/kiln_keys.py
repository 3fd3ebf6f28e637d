"""Keys for loggers and meters: made, shown once, revoked."""

from __future__ import annotations

import json
from datetime import UTC, datetime

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from firings.actions.kilns import issue_kiln_token, revoke_kiln_token
from firings.models import Kiln, KilnToken
from firings.pages.kiln_forms import LoggerForm
from firings.pages.kiln_setup import page_of
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form


def _example(kiln: Kiln, secret: str, at: datetime) -> str:
    """A command that posts one reading, ready to be run in a shell."""
    moment = at.astimezone(UTC).isoformat(timespec="seconds")
    body = json.dumps({"readings": [{"at": moment, "temp_c": 21.5, "power_w": 0}]})
    url = settings.PUBLIC_URL + reverse("api_kiln_readings", args=[kiln.pk])
    return (
        f"curl -X POST {url} \\\n"
        f"  -H 'Authorization: Bearer {secret}' \\\n"
        "  -H 'Content-Type: application/json' \\\n"
        f"  -d '{body}'"
    )


@never_cache
@needs(Role.MANAGER)
def new_key(request: HttpRequest, pk: int) -> HttpResponse:
    """Make a key; its secret is on the page that follows, and nowhere afterwards."""
    kiln = get_object_or_404(Kiln, pk=pk)
    now = timezone.now()
    made: list[tuple[KilnToken, str]] = []
    answer = answer_form(
        request,
        LoggerForm,
        "firings/kiln_key.html",
        lambda cleaned: made.append(
            issue_kiln_token(by=request.user, at=now, kiln=kiln, name=cleaned["name"])
        ),
        context={"kiln": kiln},
        then=page_of(kiln),
    )
    if not made:
        return answer
    [(token, secret)] = made
    context = {"token": token, "secret": secret, "example": _example(kiln, secret, now)}
    return render(request, "firings/kiln_key_made.html", {**context, "kiln": kiln})


@needs(Role.MANAGER)
@require_POST
def revoke_key(request: HttpRequest, pk: int) -> HttpResponse:
    token = get_object_or_404(KilnToken.objects.select_related("kiln"), pk=pk)
    return answer_deed(
        request,
        lambda: revoke_kiln_token(by=request.user, at=timezone.now(), token=token),
        done=f"The key {token.name} no longer works.",
        then=page_of(token.kiln),
    )
