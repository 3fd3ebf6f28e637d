"""My own details, and my keys to the API."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_POST

from studio.actions.access_tokens import create_access_token, revoke_access_token
from studio.actions.people import edit_own_details
from studio.models import AccessToken
from studio.pages.access import signed_in
from studio.pages.answers import answer_deed, answer_form
from studio.pages.people_forms import MyDetailsForm, TokenForm


@signed_in
def my_details(request: HttpRequest) -> HttpResponse:
    return answer_form(
        request,
        MyDetailsForm,
        "studio/my_details.html",
        lambda cleaned: edit_own_details(by=request.user, at=timezone.now(), **cleaned),
        context={"tokens": request.user.access_tokens.filter(revoked_at=None)},
        initial=MyDetailsForm.initial_of(request.user),
        done="Your details are saved.",
        then="studio:my_details",
    )


@never_cache
@signed_in
def new_token(request: HttpRequest) -> HttpResponse:
    """Make a token; its secret is on the page that follows, and nowhere afterwards."""
    made: list[tuple[AccessToken, str]] = []
    answer = answer_form(
        request,
        TokenForm,
        "studio/new_token.html",
        lambda cleaned: made.append(
            create_access_token(by=request.user, at=timezone.now(), name=cleaned["name"])
        ),
        then="studio:my_details",
    )
    if not made:
        return answer
    [(token, secret)] = made
    return render(request, "studio/token_made.html", {"token": token, "secret": secret})


@signed_in
@require_POST
def revoke_token(request: HttpRequest, pk: int) -> HttpResponse:
    token = get_object_or_404(AccessToken, pk=pk, person=request.user)
    return answer_deed(
        request,
        lambda: revoke_access_token(by=request.user, at=timezone.now(), token=token),
        done=f"The token {token.name} no longer works.",
        then="studio:my_details",
    )
