"""Recovery of the electricity bill, and the bills themselves: enter, pay, take back."""

from __future__ import annotations

from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse as address_of
from django.utils import timezone

from billing.actions.recovery import recovery
from billing.actions.utility_bills import (
    pay_utility_bill,
    record_utility_bill,
    reverse_utility_bill,
)
from billing.models import UtilityBill
from billing.pages.my_account import today
from billing.pages.payment_forms import ReasonForm
from billing.pages.recovery_chart import recovery_chart
from billing.pages.utility_bill_forms import PaidBillForm, UtilityBillForm
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of


@needs(Role.TREASURER, Role.MANAGER)
def electricity(request: HttpRequest) -> HttpResponse:
    rows = recovery()
    context = {
        "rows": rows,
        "chart": recovery_chart(rows),
        "taken_back": UtilityBill.objects.exclude(reversed_at=None),
        "keeps_books": request.user.has_role(Role.TREASURER),  # type: ignore[union-attr]
    }
    return render(request, "billing/electricity.html", context)


@needs(Role.TREASURER, Role.MANAGER)
def bill(request: HttpRequest, pk: int) -> HttpResponse:
    found = UtilityBill.objects.select_related("entry", "paid_entry", "recorded_by")
    shown = get_object_or_404(found, pk=pk)
    context = {
        "bill": shown,
        "row": None if shown.reversed_at else recovery([shown])[0],
        "keeps_books": request.user.has_role(Role.TREASURER),  # type: ignore[union-attr]
    }
    return render(request, "billing/utility_bill.html", context)


@needs(Role.TREASURER)
def enter(request: HttpRequest) -> HttpResponse:
    return answer_form(
        request,
        partial(UtilityBillForm, units=units_of(request)),
        "billing/enter_utility_bill.html",
        lambda cleaned: record_utility_bill(by=request.user, at=timezone.now(), **cleaned),
        initial={"billed_on": today(request)},
        done="Entered. Below is what the firings account for.",
        then=_address,
    )


@needs(Role.TREASURER)
def pay(request: HttpRequest, pk: int) -> HttpResponse:
    owed = get_object_or_404(UtilityBill, pk=pk)
    return answer_form(
        request,
        PaidBillForm,
        "billing/pay_utility_bill.html",
        lambda cleaned: pay_utility_bill(by=request.user, at=timezone.now(), bill=owed, **cleaned),
        context={"bill": owed},
        initial={"paid_on": today(request)},
        done="Written down as paid.",
        then=_address,
    )


@needs(Role.TREASURER)
def reverse(request: HttpRequest, pk: int) -> HttpResponse:
    wrong = get_object_or_404(UtilityBill, pk=pk)
    return answer_form(
        request,
        ReasonForm,
        "billing/reverse_utility_bill.html",
        lambda cleaned: reverse_utility_bill(
            by=request.user, at=timezone.now(), bill=wrong, **cleaned
        ),
        context={"bill": wrong},
        done="Taken back. Enter the right one when you have it.",
        then=_address,
    )


def _address(bill: UtilityBill) -> str:
    return address_of("billing:utility_bill", args=[bill.pk])
