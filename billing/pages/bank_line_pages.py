"""The bank's lines: what waits with whom it may be from, and what was dealt with."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from billing.actions.bank_lines import (
    bring_back_bank_line,
    confirm_bank_line,
    confirm_bank_lines,
    set_aside_bank_line,
)
from billing.actions.bank_proposals import with_proposals
from billing.models import BankLine, BankLineState
from billing.pages.bank_forms import BringBackForm, ConfirmLineForm, SetAsideForm
from billing.pages.payment_pages import recorded_words
from billing.refusals import BillingRefusal
from studio.models import Account, Role
from studio.pages.access import needs
from studio.pages.answers import answer_deed, answer_form

ROWS = 50


@needs(Role.TREASURER)
def lines(request: HttpRequest) -> HttpResponse:
    """What waits, oldest first, with proposals and one button for all that are certain."""
    page = Paginator(BankLine.objects.waiting(), ROWS).get_page(request.GET.get("page"))
    rows = with_proposals(list(page))
    certain = [(row.line, row.certain.account) for row in rows if row.certain is not None]
    context = {"page": page, "rows": rows, "certain": certain}
    return render(request, "billing/bank_lines.html", context)


@needs(Role.TREASURER)
def dealt_with(request: HttpRequest) -> HttpResponse:
    """What was set aside, or with ?state=taken what became a payment."""
    taken = request.GET.get("state") == BankLineState.TAKEN
    state = BankLineState.TAKEN if taken else BankLineState.SET_ASIDE
    page = Paginator(_known().filter(state=state), ROWS).get_page(request.GET.get("page"))
    context = {"page": page, "rows": [(line, line.fate) for line in page], "state": state}
    return render(request, "billing/bank_lines_dealt_with.html", context)


@needs(Role.TREASURER)
def line(request: HttpRequest, pk: int) -> HttpResponse:
    """One line: whose payment it is when it waits, else what became of it."""
    found = get_object_or_404(_known(), pk=pk)
    if found.state != BankLineState.PROPOSED:
        return render(request, "billing/bank_line.html", {"line": found, "fate": found.fate})
    proposals = with_proposals([found])[0].proposals
    return answer_form(
        request,
        ConfirmLineForm,
        "billing/bank_line.html",
        lambda cleaned: confirm_bank_line(
            by=request.user,
            at=timezone.now(),
            line=found,
            **cleaned,
        ),
        context={"line": found, "fate": found.fate, "proposals": proposals},
        initial={"account": proposals[0].account if proposals else None},
        done=recorded_words,
        then="billing:bank_lines",
    )


@needs(Role.TREASURER)
@require_POST
def confirm(request: HttpRequest, pk: int) -> HttpResponse:
    """The button beside a proposal."""
    found = get_object_or_404(BankLine, pk=pk)
    account = get_object_or_404(Account, number=_number(request.POST.get("account", "")))
    return answer_deed(
        request,
        lambda: confirm_bank_line(
            by=request.user,
            at=timezone.now(),
            line=found,
            account=account,
        ),
        done=recorded_words,
        then="billing:bank_lines",
    )


@needs(Role.TREASURER)
@require_POST
def confirm_certain(request: HttpRequest) -> HttpResponse:
    """All that the page called certain, exactly as it showed them: each as line:account."""
    choices = _choices(request.POST.getlist("choice")[:ROWS])
    return answer_deed(
        request,
        lambda: confirm_bank_lines(
            by=request.user,
            at=timezone.now(),
            choices=choices,
        ),
        done=lambda taken: f"{len(taken)} payment{'' if len(taken) == 1 else 's'} recorded.",
        then="billing:bank_lines",
    )


@needs(Role.TREASURER)
def set_aside(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(_known(), pk=pk)
    return _with_reason(
        request,
        found,
        SetAsideForm,
        "billing/set_aside_bank_line.html",
        set_aside_bank_line,
        "Set aside. It stays in the list of what was set aside.",
    )


@needs(Role.TREASURER)
def bring_back(request: HttpRequest, pk: int) -> HttpResponse:
    found = get_object_or_404(_known(), pk=pk)
    return _with_reason(
        request,
        found,
        BringBackForm,
        "billing/bring_back_bank_line.html",
        bring_back_bank_line,
        "It waits again.",
    )


def _with_reason(
    request: HttpRequest, found: BankLine, form: Any, template: str, act: Any, done: str
) -> HttpResponse:
    return answer_form(
        request,
        form,
        template,
        lambda cleaned: act(by=request.user, at=timezone.now(), line=found, **cleaned),
        context={"line": found, "fate": found.fate},
        done=done,
        then="billing:bank_lines",
    )


def _known() -> QuerySet[BankLine]:
    return BankLine.objects.select_related(
        "file", "payment__account", "payment__entry__reversed_by"
    )


def _choices(sent: list[str]) -> list[tuple[BankLine, Account]]:
    pairs = [(_number(one.partition(":")[0]), _number(one.partition(":")[2])) for one in sent]
    found = BankLine.objects.in_bulk([pk for pk, _ in pairs])
    accounts = {
        account.number: account
        for account in Account.objects.filter(number__in=[number for _, number in pairs])
    }
    if any(pk not in found or number not in accounts for pk, number in pairs):
        raise BillingRefusal(
            "choice_unknown", "A line or an account is not known here. Look at the list again."
        )
    return [(found[pk], accounts[number]) for pk, number in pairs]


def _number(text: str) -> int:
    """A number from a form of ours; 0, which nothing has, for anything else."""
    return int(text) if text.isdecimal() and len(text) <= 12 else 0
