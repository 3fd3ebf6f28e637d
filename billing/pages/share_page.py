"""The working of one share, from the meter's reading to the cent."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from billing.models import Share
from billing.pages.derivation import derivation_of
from studio.models import Role
from studio.pages.access import signed_in
from studio.pages.context import locale_of, studio_of


@signed_in
def share(request: HttpRequest, pk: int) -> HttpResponse:
    seen = Share.objects.seen_by(request.user)  # type: ignore[arg-type]
    shown = get_object_or_404(
        seen.select_related(
            "booking__member", "cost__firing__kiln", "cost__entry", "cost__tariff", "account"
        ),
        pk=pk,
    )
    studio = studio_of(request)
    context = {
        "share": shown,
        "derivation": derivation_of(shown, studio.currency, locale_of(studio)),
        "is_own": shown.account_id == request.user.account_id,  # type: ignore[union-attr]
        "keeps_books": request.user.has_role(Role.TREASURER, Role.MANAGER),  # type: ignore[union-attr]
    }
    return render(request, "billing/share.html", context)
