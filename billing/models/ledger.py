"""The double-entry ledger. Amounts are signed integers in minor units, debit positive.

An entry is written open, its postings are added, then `posted_at` is set; the database
refuses that unless they sum to zero, and refuses every change afterwards (see the SQL
beside the migrations).
"""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class LedgerKind(models.TextChoices):
    ASSET = "asset", "Asset"
    LIABILITY = "liability", "Liability"
    EQUITY = "equity", "Equity"
    INCOME = "income", "Income"
    EXPENSE = "expense", "Expense"


class LedgerAccount(models.Model):
    """An account of the chart. A receivable names its holder, a wear reserve its kiln."""

    code = models.CharField(max_length=20, unique=True)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=9, choices=LedgerKind)
    holder = models.OneToOneField(
        "studio.Account",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="receivable",
    )
    kiln = models.OneToOneField(
        "firings.Kiln",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="wear_reserve",
    )

    class Meta:
        ordering = ["code"]

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class JournalEntry(models.Model):
    """A balanced entry, posted once for its `source` (such as `firing:12`)."""

    on = models.DateField()
    text = models.CharField(max_length=200)
    source = models.CharField(max_length=80, unique=True)
    reverses = models.OneToOneField(
        "self", null=True, blank=True, on_delete=models.PROTECT, related_name="reversed_by"
    )
    reason = models.TextField(blank=True)
    by = models.ForeignKey(
        "studio.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    written_at = models.DateTimeField()
    posted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["on", "pk"]
        verbose_name_plural = "journal entries"
        indexes = [
            # balances and statements ask for a span of days
            models.Index(fields=["on"], name="entries_by_day"),
        ]

    def __str__(self) -> str:
        return f"{self.on} {self.text}"


class Posting(models.Model):
    """One leg of an entry: what is debited (+) or credited (-) to an account."""

    entry = models.ForeignKey(JournalEntry, on_delete=models.PROTECT, related_name="postings")
    account = models.ForeignKey(LedgerAccount, on_delete=models.PROTECT, related_name="postings")
    amount_minor = models.BigIntegerField()
    text = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ["entry_id", "pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(amount_minor=0), name="posting_moves_something"),
        ]

    def __str__(self) -> str:
        return f"{self.account.code} {self.amount_minor:+d}"

    @property
    def debit_minor(self) -> int:
        return max(self.amount_minor, 0)

    @property
    def credit_minor(self) -> int:
        return max(-self.amount_minor, 0)
