"""Fixed and demand charges of a month: see, share, take back; and one account's part of them."""

from __future__ import annotations

from datetime import date

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse as address_of
from django.utils import timezone

from billing.actions.preview_month_charges import preview_month_charges, standing_charges
from billing.actions.share_month_charges import reverse_month_charges, share_month_charges
from billing.models import MonthCharges, MonthChargeShare
from billing.pages.payment_forms import ReasonForm
from studio.models import Role
from studio.pages.access import needs, signed_in
from studio.pages.answers import answer_form


@needs(Role.TREASURER)
def share(request: HttpRequest, month: date) -> HttpResponse:
    """First who would carry what, then the one button that posts it."""
    return answer_form(
        request,
        forms.Form,
        "billing/share_month_charges.html",
        lambda _: share_month_charges(by=request.user, at=timezone.now(), month=month),
        context={
            "preview": preview_month_charges(month, timezone.now()),
            "standing": standing_charges(month),
            "month_words": f"{month:%B %Y}",
        },
        done="Shared. It stands on the accounts and will stand on the statements.",
        then=_address,
    )


@needs(Role.TREASURER, Role.MANAGER)
def charges(request: HttpRequest, pk: int) -> HttpResponse:
    shown = get_object_or_404(MonthCharges.objects.select_related("entry", "made_by"), pk=pk)
    context = {
        "charges": shown,
        "lines": shown.lines.select_related("tariff"),
        "shares": shown.shares.select_related("account"),
        "keeps_books": request.user.has_role(Role.TREASURER),  # type: ignore[union-attr]
    }
    return render(request, "billing/month_charges.html", context)


@needs(Role.TREASURER)
def reverse(request: HttpRequest, pk: int) -> HttpResponse:
    wrong = get_object_or_404(MonthCharges, pk=pk)
    return answer_form(
        request,
        ReasonForm,
        "billing/reverse_month_charges.html",
        lambda cleaned: reverse_month_charges(
            by=request.user, at=timezone.now(), charges=wrong, **cleaned
        ),
        context={"charges": wrong},
        done="Taken back. The month can be shared again.",
        then=_address,
    )


@signed_in
def charge_share(request: HttpRequest, pk: int) -> HttpResponse:
    """What one account carries of a month's charges, and every figure that led to it."""
    seen = MonthChargeShare.objects.seen_by(request.user)  # type: ignore[arg-type]
    shown = get_object_or_404(seen.select_related("account", "charges__entry"), pk=pk)
    context = {
        "share": shown,
        "is_own": shown.account_id == request.user.account_id,  # type: ignore[union-attr]
        "parts": shown.working["parts"],
        "sentences": shown.working["sentences"],
    }
    return render(request, "billing/charge_share.html", context)


def _address(charges: MonthCharges) -> str:
    return address_of("billing:month_charges", args=[charges.pk])
