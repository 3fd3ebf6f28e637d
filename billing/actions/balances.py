"""What the books say: balances, the trial balance, the journal. Posted entries only."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from datetime import date
from typing import Any

from django.db.models import Prefetch, QuerySet, Subquery, Sum, Value
from django.db.models.functions import Coalesce

from billing.calculations.trial_balance import TrialBalance, TrialPosting, trial_balance
from billing.models import JournalEntry, LedgerAccount, MonthBalance, Posting
from studio.models import Account


@dataclass(frozen=True)
class AccountBalance:
    """What a billing account owes (positive), or has too much (negative), in minor units."""

    account: Account
    balance_minor: int


def balance_minor_of(account: Account, on: date) -> int:
    """What an account owes at the end of a day."""
    return _sums_on(on, "account__holder", account__holder=account)[account.pk]


def balances_on(on: date) -> list[AccountBalance]:
    """All billing accounts by number with what they owe at the end of a day. Two queries."""
    owed = owed_on(on)
    return [
        AccountBalance(account, owed[account.pk]) for account in Account.objects.order_by("number")
    ]


def owed_on(on: date) -> Counter[int]:
    """What the billing accounts owe at the end of a day, by their keys; nothing for the rest."""
    return _sums_on(on, "account__holder", account__holder__isnull=False)


def ledger_balances_on(on: date) -> list[tuple[LedgerAccount, int]]:
    """Each account of the chart with its balance, debit positive, at the end of a day."""
    held = _sums_on(on, "account")
    return [(account, held[account.pk]) for account in LedgerAccount.objects.order_by("code")]


def trial_balance_on(on: date) -> tuple[TrialBalance, dict[str, LedgerAccount]]:
    """Debit and credit columns of the whole chart at the end of a day, and its accounts by code."""
    found = ledger_balances_on(on)
    columns = trial_balance([TrialPosting(account.code, minor) for account, minor in found])
    return columns, {account.code: account for account, _ in found}


def journal(
    first: date, last: date, ledger_account: LedgerAccount | None = None
) -> QuerySet[JournalEntry]:
    """Entries of a span of days, oldest first, with postings and accounts at hand."""
    entries = JournalEntry.objects.filter(posted_at__isnull=False, on__gte=first, on__lte=last)
    if ledger_account is not None:
        entries = entries.filter(postings__account=ledger_account).distinct()
    postings = Posting.objects.select_related("account").order_by("pk")
    return entries.select_related("by", "reverses").prefetch_related(
        Prefetch("postings", queryset=postings)
    )


def movements_of(account: Account) -> QuerySet[Posting]:
    """Everything that moved an account's balance, newest first."""
    return (
        Posting.objects.filter(account__holder=account, entry__posted_at__isnull=False)
        .select_related("entry")
        .order_by("-entry__on", "-pk")
    )


def _sums_on(on: date, key: str, **which: Any) -> Counter[int]:
    """Sums at the end of a day by `key`, in one query however long the journal is.

    To what was kept when a month was last closed by that day (`billing.actions.month_sums`) is
    added what was posted since; without such a month, everything.
    """
    last_kept = Subquery(MonthBalance.objects.filter(on__lte=on).order_by("-on").values("on")[:1])
    kept = MonthBalance.objects.filter(on=last_kept, **which)
    since = Posting.objects.filter(
        entry__posted_at__isnull=False,
        entry__on__gt=Coalesce(last_kept, Value(date.min)),
        entry__on__lte=on,
        **which,
    )
    parts = (
        kept.order_by().values_list(key).annotate(Sum("balance_minor")),
        since.order_by().values_list(key).annotate(Sum("amount_minor")),
    )
    sums: Counter[int] = Counter()
    for pk, sum_minor in parts[0].union(parts[1], all=True):
        sums[pk] += sum_minor
    return sums
