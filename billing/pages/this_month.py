"""The treasurer's month at a glance: which months are open, and what is missing in them."""

from __future__ import annotations

from datetime import date

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from billing.actions.close_month import ClosePreview, month_to_close, preview_close
from billing.actions.tariffs import tariff_on
from billing.calculations.wall_clock import next_month
from billing.models import BillingPolicy
from billing.pages.my_account import today
from studio.models import Role
from studio.pages.access import needs
from studio.pages.home import Panel


@needs(Role.TREASURER)
def this_month(request: HttpRequest) -> HttpResponse:
    now, day = timezone.now(), today(request)
    months = open_months(month_to_close(now), day)
    context = {
        "months": months,
        "due": preview_close(months[0], now) if len(months) > 1 else None,
        "running": preview_close(months[-1], now),
        "tariff": tariff_on(day),
        "says_how_to_pay": BillingPolicy.current().says_how_to_pay,
    }
    return render(request, "billing/this_month.html", context)


def treasurer_panel(request: HttpRequest) -> Panel | None:
    """Whether a month waits to be closed, and how many firings have no cost yet."""
    if not request.user.has_role(Role.TREASURER):  # type: ignore[union-attr]
        return None
    now = timezone.now()
    due = month_to_close(now)
    preview = preview_close(due or today(request).replace(day=1), now)
    context = {"due": due, "preview": preview, "missing_count": missing_count(preview)}
    return Panel("billing/panels/books.html", context, order=300)


def open_months(first: date | None, day: date) -> list[date]:
    """The first day of each open month, up to the one that runs."""
    running = day.replace(day=1)
    months = [min(first or running, running)]
    while months[-1] < running:
        months.append(next_month(months[-1]))
    return months


def missing_count(preview: ClosePreview) -> int:
    """How many firings of a month have no cost in the books yet."""
    return len(preview.firings_open) + len(preview.firings_unpriced) + len(preview.energy_unknown)
