"""The journal, one entry of it, its reversal, and the trial balance."""

from __future__ import annotations

from django import forms
from django.core.paginator import Paginator
from django.db.models import Prefetch
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse as address_of
from django.utils import timezone

from billing.actions import balances
from billing.actions.ledger import reverse_entry
from billing.models import JournalEntry, Posting
from billing.pages.my_account import today
from billing.pages.payment_forms import ReasonForm
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import FORM_INVALID, answer_form
from studio.pages.widgets import DayInput

ENTRIES_ON_A_PAGE = 25


class DaysForm(forms.Form):
    first = forms.DateField(label="From", widget=DayInput)
    last = forms.DateField(label="To", widget=DayInput)

    def clean(self) -> dict[str, object]:
        cleaned = super().clean() or self.cleaned_data
        if cleaned.get("first") and cleaned.get("last") and cleaned["last"] < cleaned["first"]:
            self.add_error("last", "This day lies before the first one.")
        return cleaned


class DayForm(forms.Form):
    on = forms.DateField(label="At the end of", widget=DayInput)


@needs(Role.TREASURER)
def journal(request: HttpRequest) -> HttpResponse:
    """The entries of some days, by default of the month that runs."""
    day = today(request)
    asked = {"first": day.replace(day=1), "last": day}
    form = DaysForm({**asked, **request.GET.dict()})
    entries = JournalEntry.objects.none()
    if form.is_valid():
        entries = balances.journal(form.cleaned_data["first"], form.cleaned_data["last"])
    page = Paginator(entries, ENTRIES_ON_A_PAGE).get_page(request.GET.get("page"))
    status = 200 if form.is_valid() else FORM_INVALID
    return render(request, "billing/journal.html", {"form": form, "page": page}, status=status)


@needs(Role.TREASURER)
def entry(request: HttpRequest, pk: int) -> HttpResponse:
    return render(request, "billing/entry.html", _about(pk))


@needs(Role.TREASURER)
def reverse(request: HttpRequest, pk: int) -> HttpResponse:
    context = _about(pk)
    return answer_form(
        request,
        ReasonForm,
        "billing/reverse_entry.html",
        lambda cleaned: reverse_entry(
            by=request.user, at=timezone.now(), entry=context["entry"], reason=cleaned["reason"]
        ),
        context=context,
        done="Reversed. The original and its reversal both stay in the books.",
        then=lambda reversal: address_of("billing:entry", args=[reversal.pk]),
    )


@needs(Role.TREASURER)
def trial_balance(request: HttpRequest) -> HttpResponse:
    form = DayForm({"on": today(request), **request.GET.dict()})
    if not form.is_valid():
        return render(request, "billing/trial_balance.html", {"form": form}, status=FORM_INVALID)
    columns, accounts = balances.trial_balance_on(form.cleaned_data["on"])
    rows = [(accounts[row.account_code], row) for row in columns.rows]
    context = {"form": form, "columns": columns, "rows": rows}
    return render(request, "billing/trial_balance.html", context)


def _about(pk: int) -> dict[str, object]:
    """An entry with its legs, what it stands for, and what reversed it."""
    shown = get_object_or_404(
        JournalEntry.objects.select_related(
            "by",
            "reverses",
            "reversed_by",
            "firing_cost",
            "payment",
            "month_charges",
            "utility_bill",
            "paid_utility_bill",
        ).prefetch_related(Prefetch("postings", Posting.objects.select_related("account"))),
        pk=pk,
        posted_at__isnull=False,
    )
    cost, payment = getattr(shown, "firing_cost", None), getattr(shown, "payment", None)
    charges = getattr(shown, "month_charges", None)
    bill = getattr(shown, "utility_bill", None) or getattr(shown, "paid_utility_bill", None)
    reversal = getattr(shown, "reversed_by", None)
    has_own_reversal = cost or payment or charges or bill
    return {
        "entry": shown,
        "cost": cost,
        "payment": payment,
        "charges": charges,
        "bill": bill,
        "reversal": reversal,
        "can_reverse": reversal is None and shown.reverses_id is None and not has_own_reversal,
    }
