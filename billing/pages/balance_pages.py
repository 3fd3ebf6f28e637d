"""What every account owes, how old it is, and what moved one account."""

from __future__ import annotations

from itertools import accumulate

from django.core.paginator import Paginator
from django.db.models import Sum
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from billing.actions.ageing import AgedAccount, aged_accounts
from billing.actions.balances import movements_of
from billing.calculations.statements import AgedBalance
from billing.models import Statement
from billing.pages.held import held_now
from billing.pages.my_account import standing_of, today
from studio.models import Account, Role
from studio.pages.access import needs
from studio.pages.context import studio_of

ROWS = 50
AGES = (
    ("Not due yet", "current_minor"),
    ("1 to 30 days", "days_1_to_30_minor"),
    ("31 to 60 days", "days_31_to_60_minor"),
    ("61 to 90 days", "days_61_to_90_minor"),
    ("Over 90 days", "over_90_minor"),
)


@needs(Role.TREASURER, Role.MANAGER)
def balances(request: HttpRequest) -> HttpResponse:
    words = request.GET.get("q", "").strip()[:100]
    rows = aged_accounts(today(request))
    context = {
        "ages": [label for label, _ in AGES],
        "totals": _by_age([row.aged for row in rows]),
        "total_minor": sum(row.balance_minor for row in rows),
        "owed_minor": sum(row.balance_minor for row in rows if row.balance_minor > 0),
        "page": Paginator(
            [_row(row) for row in rows if _matches(row.account, words)], ROWS
        ).get_page(request.GET.get("page")),
        "words": words,
        "keeps_books": request.user.has_role(Role.TREASURER),  # type: ignore[union-attr]
    }
    return render(request, "billing/balances.html", context)


@needs(Role.TREASURER, Role.MANAGER)
def account_lines(request: HttpRequest, number: int) -> HttpResponse:
    account = get_object_or_404(Account, number=number)
    standing = standing_of(account, today(request))
    movements = movements_of(account)
    page = Paginator(movements, ROWS).get_page(request.GET.get("page"))
    newer_minor = 0
    if page.number > 1:
        newer = movements[: page.start_index() - 1]
        newer_minor = newer.aggregate(sum=Sum("amount_minor"))["sum"] or 0
    lines = list(page)
    after = accumulate(
        (-line.amount_minor for line in lines[:-1]), initial=standing.balance_minor - newer_minor
    )
    context = {
        "account": account,
        "standing": standing,
        "page": page,
        "lines": list(zip(lines, after, strict=True)) if lines else [],
        "statements": Statement.objects.filter(account=account).select_related("close")[:12],
        "held": held_now(account, today(request), studio_of(request).zone),
        "people": account.people.all(),
        "keeps_books": request.user.has_role(Role.TREASURER),  # type: ignore[union-attr]
    }
    return render(request, "billing/account_lines.html", context)


def _matches(account: Account, words: str) -> bool:
    return words.lower() in f"{account.number} {account.name}".lower()


def _row(row: AgedAccount) -> dict[str, object]:
    return {
        "account": row.account,
        "balance_minor": row.balance_minor,
        "ages": [(label, getattr(row.aged, name)) for label, name in AGES],
    }


def _by_age(rows: list[AgedBalance]) -> list[tuple[str, int]]:
    return [(label, sum(getattr(row, name) for row in rows)) for label, name in AGES]
