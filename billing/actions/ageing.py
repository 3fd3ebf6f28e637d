"""How long what accounts owe has been due: a reading of the books, in a handful of queries."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, timedelta

from django.db.models import Max, Sum

from billing.actions.balances import balances_on
from billing.calculations.ageing import open_items
from billing.calculations.statements import AgedBalance, OpenItem, age_balance
from billing.calculations.wall_clock import next_month
from billing.models import BillingPolicy, MonthClose, Posting, Statement
from studio.models import Account


@dataclass(frozen=True)
class AgedAccount:
    """An account with what it owes, by days past due, in minor units."""

    account: Account
    balance_minor: int
    aged: AgedBalance


def aged_accounts(on: date) -> list[AgedAccount]:
    """All billing accounts by number, with their balance on a day and how old it is."""
    rows = balances_on(on)
    charges = _charges(on, [row.account.pk for row in rows if row.balance_minor > 0])
    return [
        AgedAccount(
            row.account,
            row.balance_minor,
            age_balance(open_items(row.balance_minor, charges[row.account.pk], on), on),
        )
        for row in rows
    ]


def _charges(on: date, owing: list[int]) -> dict[int, list[OpenItem]]:
    """What statements asked for with its due day; later charges are due with the next one.

    Only of accounts that owe: the statements of all others grow for years and tell nothing here.
    """
    charges: dict[int, list[OpenItem]] = defaultdict(list)
    billed = Statement.objects.filter(account__in=owing, charges_minor__gt=0, close__month__lte=on)
    for account_id, due_on, amount_minor in billed.values_list(
        "account", "due_on", "charges_minor"
    ):
        charges[account_id].append(OpenItem(due_on, amount_minor))
    due_next_on = on + timedelta(days=BillingPolicy.current().payment_days)
    for account_id, amount_minor in _unbilled(on):
        charges[account_id].append(OpenItem(due_next_on, amount_minor))
    return charges


def _unbilled(on: date) -> list[tuple[int, int]]:
    last_closed = MonthClose.objects.aggregate(month=Max("month"))["month"]
    postings = Posting.objects.filter(
        account__holder__isnull=False,
        amount_minor__gt=0,
        entry__posted_at__isnull=False,
        entry__on__lte=on,
    )
    if last_closed is not None:
        postings = postings.filter(entry__on__gte=next_month(last_closed))
    return list(postings.order_by().values_list("account__holder").annotate(Sum("amount_minor")))
