"""The page of the studio's firing rules."""

from __future__ import annotations

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.utils import timezone

from firings.actions.ware import edit_firing_policy
from firings.models import FiringPolicy
from firings.pages.policy_forms import NO_DEFAULT, PolicyForm, default_values
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of


@needs(Role.MANAGER)
def policy(request: HttpRequest) -> HttpResponse:
    return answer_form(
        request,
        partial(PolicyForm, units=units_of(request)),
        "firings/policy.html",
        lambda cleaned: edit_firing_policy(by=request.user, at=timezone.now(), fields=cleaned),
        context={"defaults": default_values(), "no_default": NO_DEFAULT},
        initial=PolicyForm.initial_of(FiringPolicy.current()),
        done="The rules are saved. They hold from the next booking and the next load.",
        then="firings:policy",
    )
