"""Payments, the monthly close and the statements it numbers."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from billing.models.of_account import OfAccountQuerySet


class PaymentMethod(models.TextChoices):
    CASH = "cash", "Cash"
    BANK = "bank", "Bank transfer"


class Payment(models.Model):
    """Money received from an account's people, or a negative refund to them."""

    account = models.ForeignKey("studio.Account", on_delete=models.PROTECT, related_name="payments")
    received_on = models.DateField()
    amount_minor = models.BigIntegerField()
    method = models.CharField(max_length=4, choices=PaymentMethod)
    reference = models.CharField(max_length=80, blank=True)
    recorded_by = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    entry = models.OneToOneField(
        "billing.JournalEntry", on_delete=models.PROTECT, related_name="payment"
    )

    objects = OfAccountQuerySet.as_manager()

    class Meta:
        ordering = ["-received_on", "-pk"]
        constraints = [
            models.CheckConstraint(condition=~Q(amount_minor=0), name="payment_is_not_zero"),
        ]

    def __str__(self) -> str:
        return f"{self.account} {self.amount_minor} on {self.received_on}"


class MonthClose(models.Model):
    """A month that is frozen: the database takes no entry dated in it any more."""

    month = models.DateField(unique=True)
    closed_at = models.DateTimeField()
    closed_by = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-month"]
        constraints = [
            models.CheckConstraint(
                condition=Q(month__day=1), name="close_is_named_by_the_first_of_its_month"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.month:%B %Y}"


class Statement(models.Model):
    """A numbered statement of account. Its content is frozen and hashed when it is issued."""

    number = models.PositiveIntegerField(unique=True)
    account = models.ForeignKey(
        "studio.Account", on_delete=models.PROTECT, related_name="statements"
    )
    close = models.ForeignKey(MonthClose, on_delete=models.PROTECT, related_name="statements")
    issued_at = models.DateTimeField()
    due_on = models.DateField()
    opening_minor = models.BigIntegerField()
    charges_minor = models.BigIntegerField()
    credits_minor = models.BigIntegerField()
    payments_minor = models.BigIntegerField()
    closing_minor = models.BigIntegerField()
    content = models.JSONField()
    content_hash = models.CharField(max_length=64)

    objects = OfAccountQuerySet.as_manager()

    class Meta:
        ordering = ["-number"]
        constraints = [
            models.UniqueConstraint(
                fields=["account", "close"], name="one_statement_per_account_and_month"
            ),
            models.CheckConstraint(
                condition=Q(
                    closing_minor=F("opening_minor")
                    + F("charges_minor")
                    - F("credits_minor")
                    - F("payments_minor")
                ),
                name="statement_adds_up",
            ),
        ]

    def __str__(self) -> str:
        return f"Statement {self.number}"

    def get_absolute_url(self) -> str:
        return statement_path(self.number)


def statement_path(number: int) -> str:
    """Where a statement is read."""
    return f"/statements/{number}/"
