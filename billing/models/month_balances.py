"""What each account of the chart held when a month was closed: where balances start counting."""

from __future__ import annotations

from django.db import models


class MonthBalance(models.Model):
    """The balance at the end of the last day of a closed month, debit positive; never nothing.

    An account that then held nothing has none. The postings of a closed month are final, so
    what they sum to is too; the next close adds all of them up again and compares.
    """

    on = models.DateField()
    # the constraint's index finds a day's accounts; one by account alone would serve nobody
    account = models.ForeignKey(
        "billing.LedgerAccount", on_delete=models.PROTECT, related_name="+", db_index=False
    )
    balance_minor = models.BigIntegerField()

    class Meta:
        ordering = ["-on", "account_id"]
        constraints = [
            models.UniqueConstraint(fields=["on", "account"], name="one_balance_per_month_end"),
            models.CheckConstraint(
                condition=~models.Q(balance_minor=0), name="month_balance_is_not_zero"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.account_id} on {self.on}: {self.balance_minor:+d}"
