"""Months: which are closed, what closing the next one would do, and the statements of each."""

from __future__ import annotations

from datetime import date

from django import forms
from django.core.paginator import Paginator
from django.db.models import Count, Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse as address_of
from django.utils import timezone

from billing.actions.close_month import close_month, month_to_close, preview_close
from billing.models import MonthClose, Statement
from billing.pages.my_account import today
from billing.pages.this_month import missing_count, open_months
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form

ROWS = 50
MONTHS = 24


@needs(Role.TREASURER)
def months(request: HttpRequest) -> HttpResponse:
    closed = (
        MonthClose.objects.select_related("closed_by")
        .annotate(
            statements_count=Count("statements"),
            charges_minor=Sum("statements__charges_minor", default=0),
            payments_minor=Sum("statements__payments_minor", default=0),
            closing_minor=Sum("statements__closing_minor", default=0),
        )
        .order_by("-month")
    )
    due = month_to_close(timezone.now())
    context = {
        "open": [(month, _state(month, due, today(request))) for month in _open(request, due)],
        "page": Paginator(closed, MONTHS).get_page(request.GET.get("page")),
    }
    return render(request, "billing/months.html", context)


@needs(Role.TREASURER)
def month(request: HttpRequest, month: date) -> HttpResponse:
    """The statements of a closed month; of another, what closing it would do."""
    close = MonthClose.objects.filter(month=month).select_related("closed_by").first()
    if close is None:
        return redirect("billing:close_month", month)
    statements = Statement.objects.filter(close=close).select_related("account").order_by("number")
    page = Paginator(statements, ROWS).get_page(request.GET.get("page"))
    totals = statements.aggregate(
        **{name: Sum(name, default=0) for name in ("charges_minor", "credits_minor")},
        payments_minor=Sum("payments_minor", default=0),
        closing_minor=Sum("closing_minor", default=0),
    )
    context = {"close": close, "page": page, "totals": totals}
    return render(request, "billing/month.html", context)


@needs(Role.TREASURER)
def close(request: HttpRequest, month: date) -> HttpResponse:
    """First what it would do, then the one button that does it."""
    now = timezone.now()
    preview = preview_close(month, now)
    return answer_form(
        request,
        forms.Form,
        "billing/close_month.html",
        lambda _: close_month(by=request.user, at=timezone.now(), month=month),
        context={
            "preview": preview,
            "missing_count": missing_count(preview),
            "month_words": f"{month:%B %Y}",
        },
        done=lambda closed: f"{closed} is closed and its statements are on their way.",
        then=lambda closed: address_of("billing:month", args=[closed.month]),
    )


def _open(request: HttpRequest, due: date | None) -> list[date]:
    return list(reversed(open_months(due, today(request))))


def _state(month: date, due: date | None, day: date) -> str:
    if month == day.replace(day=1):
        return "running"
    return "next" if month == due else "open"
