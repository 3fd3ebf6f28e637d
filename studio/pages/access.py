"""Who may open a page. The rules of what a person may do stay in the actions."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import Any

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from studio.models import Role
from studio.pages.context import studio_of

View = Callable[..., HttpResponse]


def signed_in(view: View) -> View:
    """For everybody with a sign-in; others are asked to sign in and come back here."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
        if not request.user.is_authenticated:
            return redirect_to_login(request.get_full_path())
        # What is typed into date and time fields is the studio's local time.
        with timezone.override(studio_of(request).zone):
            return view(request, *args, **kwargs)

    return guarded


def needs(*roles: Role) -> Callable[[View], View]:
    """For people who hold any of `roles`; others read who may and whom to ask."""

    def decorate(view: View) -> View:
        @wraps(view)
        def guarded(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponse:
            if not request.user.has_role(*roles):  # type: ignore[union-attr]
                return _not_yours(request, roles)
            return view(request, *args, **kwargs)

        guarded.needed_roles = roles  # type: ignore[attr-defined]
        return signed_in(guarded)

    return decorate


def _not_yours(request: HttpRequest, roles: tuple[Role, ...]) -> HttpResponse:
    labels = [str(role.label) for role in roles]
    context = {"needed": " or ".join(labels), "needs_manager": Role.MANAGER not in roles}
    return render(request, "studio/errors/not_your_role.html", context, status=403)
