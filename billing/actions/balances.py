"""What the books say: balances, the trial balance, the journal. Posted entries only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from django.db.models import Prefetch, Q, QuerySet, Sum

from billing.calculations.trial_balance import TrialBalance, TrialPosting, trial_balance
from billing.models import JournalEntry, LedgerAccount, Posting
from studio.models import Account


@dataclass(frozen=True)
class AccountBalance:
    """What a billing account owes (positive), or has too much (negative), in minor units."""

    account: Account
    balance_minor: int


def balance_minor_of(account: Account, on: date) -> int:
    """What an account owes at the end of a day."""
    owed = _posted_until(on).filter(account__holder=account).aggregate(sum=Sum("amount_minor"))
    return owed["sum"] or 0


def balances_on(on: date) -> list[AccountBalance]:
    """All billing accounts by number with what they owe at the end of a day. Two queries."""
    owed = dict(
        _posted_until(on)
        .filter(account__holder__isnull=False)
        .order_by()
        .values_list("account__holder")
        .annotate(Sum("amount_minor"))
    )
    return [
        AccountBalance(account, owed.get(account.pk, 0))
        for account in Account.objects.order_by("number")
    ]


def ledger_balances_on(on: date) -> list[tuple[LedgerAccount, int]]:
    """Each account of the chart with its balance, debit positive, at the end of a day."""
    until = Q(postings__entry__on__lte=on, postings__entry__posted_at__isnull=False)
    accounts = LedgerAccount.objects.annotate(
        balance_minor=Sum("postings__amount_minor", filter=until, default=0)
    ).order_by("code")
    return [(account, account.balance_minor) for account in accounts]


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


def _posted_until(on: date) -> QuerySet[Posting]:
    return Posting.objects.filter(entry__posted_at__isnull=False, entry__on__lte=on)
