"""Billing accounts and who shares them."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.db.models import Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from studio.actions.accounts import rename_account
from studio.models import Account, Role
from studio.pages.access import needs, signed_in
from studio.pages.answers import answer_form
from studio.pages.more_about import more_about
from studio.pages.people_forms import NameForm

ROWS = 50


@needs(Role.MANAGER, Role.TREASURER)
def accounts(request: HttpRequest) -> HttpResponse:
    words = request.GET.get("q", "").strip()[:100]
    found = Account.objects.prefetch_related("people")
    if words:
        found = found.filter(
            Q(name__icontains=words)
            | Q(pk__in=Account.objects.filter(people__name__icontains=words).values("pk"))
        )
    page = Paginator(found, ROWS).get_page(request.GET.get("page"))
    return render(request, "studio/accounts.html", {"page": page, "words": words})


@signed_in
def account(request: HttpRequest, number: int) -> HttpResponse:
    shown = get_object_or_404(
        Account.objects.seen_by(request.user).prefetch_related("people"), number=number
    )
    context = {
        "account": shown,
        "keeps_accounts": request.user.has_role(Role.MANAGER, Role.TREASURER),
        "knows_people": request.user.has_role(Role.MANAGER),
        "more": more_about(request, shown),
    }
    return render(request, "studio/account.html", context)


@needs(Role.MANAGER, Role.TREASURER)
def rename(request: HttpRequest, number: int) -> HttpResponse:
    shown = get_object_or_404(Account, number=number)
    return answer_form(
        request,
        NameForm,
        "studio/rename_account.html",
        lambda cleaned: rename_account(
            by=request.user, at=timezone.now(), account=shown, name=cleaned["name"]
        ),
        context={"account": shown},
        initial={"name": shown.name},
        done="The account has its new name.",
        then=lambda renamed: f"/people/accounts/{renamed.number}/",
    )
