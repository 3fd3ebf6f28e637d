"""Payments: what came in, record one, take one back; and credits at the studio's expense."""

from __future__ import annotations

from functools import partial

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse as address_of
from django.utils import timezone

from billing.actions.ledger import day_words
from billing.actions.payments import give_credit, record_payment, reverse_payment
from billing.models import Payment
from billing.pages.my_account import standing_of, today
from billing.pages.payment_forms import CreditForm, PaymentForm, ReasonForm
from studio.models import Account, Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of

ROWS = 50


@needs(Role.TREASURER)
def payments(request: HttpRequest) -> HttpResponse:
    found = Payment.objects.select_related("account", "entry", "entry__reversed_by")
    page = Paginator(found, ROWS).get_page(request.GET.get("page"))
    rows = [(payment, _state(payment)) for payment in page]
    return render(request, "billing/payments.html", {"page": page, "rows": rows})


@needs(Role.TREASURER)
def record(request: HttpRequest) -> HttpResponse:
    number = request.GET.get("account", "")
    account = Account.objects.filter(number=int(number[:9])).first() if number.isdecimal() else None
    initial = {"received_on": today(request), "account": account}
    if account is not None:
        initial["amount_minor"] = max(standing_of(account, today(request)).balance_minor, 0) or None
    return answer_form(
        request,
        partial(PaymentForm, units=units_of(request)),
        "billing/record_payment.html",
        lambda cleaned: record_payment(
            by=request.user, at=timezone.now(), **PaymentForm.fields_of(cleaned)
        ),
        initial=initial,
        done=recorded_words,
        then=lambda payment: address_of("billing:account_lines", args=[payment.account.number]),
    )


def recorded_words(payment: Payment) -> str:
    """Also says when the books count it on another day, because its month is closed."""
    words = f"Recorded for account {payment.account}."
    if payment.entry is None or payment.entry.on == payment.received_on:
        return words
    return f"{words} Its month is closed, so the books count it on {day_words(payment.entry.on)}."


@needs(Role.TREASURER)
def reverse(request: HttpRequest, pk: int) -> HttpResponse:
    payment = get_object_or_404(
        Payment.objects.select_related("account", "entry__reversed_by"), pk=pk
    )
    return answer_form(
        request,
        ReasonForm,
        "billing/reverse_payment.html",
        lambda cleaned: reverse_payment(
            by=request.user, at=timezone.now(), payment=payment, reason=cleaned["reason"]
        ),
        context={"payment": payment, "state": _state(payment)},
        done="Taken back. The original and its reversal both stay in the books.",
        then=lambda _: address_of("billing:account_lines", args=[payment.account.number]),
    )


@needs(Role.TREASURER, Role.MANAGER)
def credit(request: HttpRequest, number: int) -> HttpResponse:
    account = get_object_or_404(Account, number=number)
    return answer_form(
        request,
        partial(CreditForm, units=units_of(request)),
        "billing/give_credit.html",
        lambda cleaned: give_credit(by=request.user, at=timezone.now(), account=account, **cleaned),
        context={"account": account, "standing": standing_of(account, today(request))},
        done="The credit is given and stands on their next statement.",
        then=lambda _: address_of("billing:account_lines", args=[number]),
    )


def _state(payment: Payment) -> str:
    if getattr(payment.entry, "reversed_by", None) is not None:
        return "reversed"
    return "received" if payment.amount_minor > 0 else "paid_back"
