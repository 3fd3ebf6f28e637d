"""My account: what I owe now, my statements, and what was charged since the newest one."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.core.paginator import Paginator
from django.db.models import Max, Q
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from billing.actions.balances import balance_minor_of, movements_of
from billing.calculations.wall_clock import next_month
from billing.models import BillingPolicy, MonthChargeShare, MonthClose, Posting, Share, Statement
from billing.pages.held import held_now
from billing.pages.pay_card import way_to_pay_now
from studio.models import Account
from studio.pages.access import signed_in
from studio.pages.context import studio_of
from studio.pages.home import Panel

STATEMENTS_ON_A_PAGE = 12


@dataclass(frozen=True)
class Standing:
    """What an account owes now; `amount_minor` without the sign that the words already tell."""

    balance_minor: int

    @property
    def amount_minor(self) -> int:
        return abs(self.balance_minor)

    @property
    def words(self) -> str:
        if self.balance_minor > 0:
            return "to pay"
        return "in credit" if self.balance_minor < 0 else "nothing to pay"


@signed_in
def my_account(request: HttpRequest) -> HttpResponse:
    account = request.user.account  # type: ignore[union-attr]
    if account is None:
        return render(request, "billing/my_account_missing.html")
    since, policy = _first_open_day(), BillingPolicy.current()
    standing = standing_of(account, today(request))
    statements = Statement.objects.filter(account=account).select_related("close")
    context = {
        "account": account,
        "standing": standing,
        "page": Paginator(statements, STATEMENTS_ON_A_PAGE).get_page(request.GET.get("page")),
        "shares": charges_since(account, since),
        "movements": other_movements_since(account, since),
        "charge_shares": month_charges_since(account, since),
        "since": since,
        "held": held_now(account, today(request), studio_of(request).zone),
        "how_to_pay": policy.how_to_pay,
        "way": way_to_pay_now(account, standing.balance_minor, policy, studio_of(request)),
    }
    return render(request, "billing/my_account.html", context)


def account_panel(request: HttpRequest) -> Panel | None:
    """The balance and the newest statement, for whoever is charged on an account."""
    account = request.user.account  # type: ignore[union-attr]
    if account is None:
        return None
    context = {
        "standing": standing_of(account, today(request)),
        "statement": Statement.objects.filter(account=account).select_related("close").first(),
    }
    return Panel("billing/panels/my_account.html", context, order=40)


def standing_of(account: Account, on: date) -> Standing:
    return Standing(balance_minor_of(account, on))


def today(request: HttpRequest) -> date:
    """The studio's day."""
    return timezone.now().astimezone(studio_of(request).zone).date()


def _first_open_day() -> date | None:
    """The day after the newest close; None while no month is closed."""
    last_closed = MonthClose.objects.aggregate(month=Max("month"))["month"]
    return None if last_closed is None else next_month(last_closed)


def charges_since(account: Account, since: date | None) -> list[Share]:
    shares = (
        Share.objects.filter(account=account, cost__entry__posted_at__isnull=False)
        .exclude(amount_minor=0, split_minor=0)
        .select_related("cost__entry", "cost__firing__kiln", "booking")
        .order_by("-cost__entry__on", "-pk")
    )
    return list(shares if since is None else shares.filter(cost__entry__on__gte=since))


def other_movements_since(account: Account, since: date | None) -> list[Posting]:
    """Payments, credits and reversals: what moved the account and is no charge."""
    movements = movements_of(account).filter(
        Q(entry__firing_cost=None) | Q(amount_minor__lt=0), entry__month_charges=None
    )
    return list(movements if since is None else movements.filter(entry__on__gte=since))


def month_charges_since(account: Account, since: date | None) -> list[MonthChargeShare]:
    """The account's parts of shared monthly charges, each with its working."""
    shares = MonthChargeShare.objects.filter(account=account, charges__entry__isnull=False)
    shares = shares.select_related("charges__entry").order_by("-charges__entry__on", "-pk")
    return list(shares if since is None else shares.filter(charges__entry__on__gte=since))
