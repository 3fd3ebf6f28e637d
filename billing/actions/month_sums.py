"""What a month did to every account of the chart, added up from the first entry on, and kept.

A balance then starts from the last month that was closed and adds only what was posted since
(`billing.actions.balances`). The two can never differ: a closed month takes no entry, what is
posted or kept is never changed, and each close adds everything up anew and compares.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, timedelta
from typing import NamedTuple

from django.db.models import Q, Sum
from django.db.models.functions import Coalesce

from billing.calculations.wall_clock import next_month
from billing.models import LedgerAccount, MonthBalance, Posting
from billing.refusals import BillingRefusal
from studio.actions.many_rows import insert_many

ONE_DAY = timedelta(days=1)


class MonthSums(NamedTuple):
    """An account of the chart, whose receivable it is, and its balance before and after a month."""

    account_id: int
    holder_id: int | None
    before_minor: int
    after_minor: int


def month_sums(month: date) -> list[MonthSums]:
    """Every account that was ever posted to, in one query over the whole journal."""
    posted = Posting.objects.filter(
        entry__posted_at__isnull=False, entry__on__lt=next_month(month)
    ).order_by()
    rows = posted.values_list("account", "account__holder").annotate(
        before_minor=Coalesce(Sum("amount_minor", filter=Q(entry__on__lt=month)), 0),
        after_minor=Sum("amount_minor"),
    )
    return [MonthSums(*row) for row in rows]


def keep_balances(month: date, ledger: Sequence[MonthSums]) -> None:
    """Keep what each account held at the month's end; refused when what was kept before differs.

    The inner part of a close.
    """
    _check_kept(month - ONE_DAY, ledger)
    held = ((sums.account_id, sums.after_minor) for sums in ledger if sums.after_minor)
    last_day = next_month(month) - ONE_DAY
    insert_many(MonthBalance, ("account_id", "balance_minor"), held, {"on": last_day})


def _check_kept(day: date, ledger: Sequence[MonthSums]) -> None:
    kept = dict(MonthBalance.objects.filter(on=day).values_list("account", "balance_minor"))
    added_up = {sums.account_id: sums.before_minor for sums in ledger if sums.before_minor}
    for pk in {*kept, *added_up} if kept else ():
        if kept.get(pk, 0) != added_up.get(pk, 0):
            raise BillingRefusal(
                "balances_differ",
                f"Account {LedgerAccount.objects.get(pk=pk)} was closed on {day:%d %B %Y} with "
                f"{kept.get(pk, 0)} minor units, its entries until then sum to "
                f"{added_up.get(pk, 0)}. Nothing was closed: have whoever looks after the system "
                "compare the two.",
            )
