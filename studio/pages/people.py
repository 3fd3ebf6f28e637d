"""People: who is here, with which roles, on which account."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from studio.actions.accounts import move_to_account
from studio.actions.people import deactivate_person, reactivate_person, set_roles
from studio.actions.trail import trail_of
from studio.models import Invitation, Person, Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form
from studio.pages.people_forms import AccountForm, DeactivateForm, RolesForm

ROWS = 50


@needs(Role.MANAGER)
def people(request: HttpRequest) -> HttpResponse:
    words = request.GET.get("q", "").strip()[:100]
    found = Person.objects.select_related("account").prefetch_related("role_holdings")
    if words:
        found = found.matching(words)
    now = timezone.now()
    unanswered = Invitation.objects.unanswered().order_by("-expires_at", "-pk")[:ROWS]
    invitations = [(one, one.state(now)) for one in unanswered]
    page = Paginator(found, ROWS).get_page(request.GET.get("page"))
    context = {"page": page, "words": words, "invitations": invitations}
    return render(request, "studio/people.html", context)


@needs(Role.MANAGER)
def person(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Person.objects.select_related("account"), pk=pk)
    context = {
        "person": shown,
        "roles": [role.label for role in Role if role in shown.roles],
        "trail": trail_of(shown).order_by("-at", "-pk")[:30],
    }
    return render(request, "studio/person.html", context)


def _form_about(
    request: HttpRequest,
    pk: int,
    form: type,
    title: str,
    act: Any,
    initial: Any,
    done: str,
) -> HttpResponse:
    shown = get_object_or_404(Person.objects.select_related("account"), pk=pk)
    return answer_form(
        request,
        form,
        "studio/person_form.html",
        lambda cleaned: act(person=shown, by=request.user, at=timezone.now(), **cleaned),
        context={"person": shown, "title": title},
        initial=initial(shown),
        done=done,
        then=lambda changed: f"/people/{changed.pk}/",
    )


@needs(Role.MANAGER)
def roles(request: HttpRequest, pk: int) -> HttpResponse:
    return _form_about(
        request,
        pk,
        RolesForm,
        "Roles",
        set_roles,
        lambda shown: {"roles": [str(role) for role in shown.roles]},
        "The roles are saved.",
    )


@needs(Role.MANAGER)
def account_of(request: HttpRequest, pk: int) -> HttpResponse:
    return _form_about(
        request,
        pk,
        AccountForm,
        "Account",
        move_to_account,
        lambda shown: {"account": shown.account_id},
        "From now on charges go to the account you chose.",
    )


@needs(Role.MANAGER)
def deactivate(request: HttpRequest, pk: int) -> HttpResponse:
    return _form_about(
        request,
        pk,
        DeactivateForm,
        "Deactivate",
        deactivate_person,
        lambda _shown: None,
        "Deactivated: sessions and tokens have ended.",
    )


@needs(Role.MANAGER)
@require_POST
def reactivate(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(Person, pk=pk)
    return answer_deed(
        request,
        lambda: reactivate_person(person=shown, by=request.user, at=timezone.now()),
        done=f"{shown.name} can sign in again.",
        then=lambda changed: f"/people/{changed.pk}/",
    )
