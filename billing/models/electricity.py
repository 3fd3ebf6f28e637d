"""The utility's bills as they came, and the charges of a month that no single firing causes."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from billing.models.costs import TariffVersion
from billing.models.of_account import OfAccountQuerySet


class BillSettlement(models.TextChoices):
    BANK = "bank", "From the bank account"
    LATER = "later", "Not paid yet"


class UtilityBill(models.Model):
    """An electricity bill for some days, both included. `tax_minor` is part of `amount_minor`.

    It is corrected by a reversal; no day is billed twice among those that stand.
    """

    first_day = models.DateField()
    last_day = models.DateField()
    billed_on = models.DateField()
    energy_wh = models.PositiveBigIntegerField()
    amount_minor = models.BigIntegerField()
    tax_minor = models.BigIntegerField(default=0)
    reference = models.CharField(max_length=80, blank=True)
    settlement = models.CharField(max_length=5, choices=BillSettlement)
    entry = models.OneToOneField(
        "billing.JournalEntry", on_delete=models.PROTECT, related_name="utility_bill"
    )
    paid_entry = models.OneToOneField(
        "billing.JournalEntry",
        null=True,
        blank=True,
        on_delete=models.PROTECT,
        related_name="paid_utility_bill",
    )
    recorded_by = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="+")
    recorded_at = models.DateTimeField()
    reversed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-first_day", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(last_day__gte=F("first_day")),
                name="bill_runs_forward",
                violation_error_message="The last day of a bill lies before its first.",
            ),
            models.CheckConstraint(condition=Q(amount_minor__gt=0), name="bill_asks_for_something"),
            models.CheckConstraint(
                condition=Q(tax_minor__gte=0, tax_minor__lte=F("amount_minor")),
                name="tax_is_part_of_its_bill",
                violation_error_message="The taxes of a bill are part of its amount.",
            ),
            models.CheckConstraint(
                condition=Q(settlement=BillSettlement.LATER) | Q(paid_entry=None),
                name="bill_is_paid_once",
                violation_error_message="A bill that was paid at once is not paid again.",
            ),
        ]

    def __str__(self) -> str:
        return f"electricity bill of {self.first_day} to {self.last_day}"

    @property
    def is_paid(self) -> bool:
        return self.settlement == BillSettlement.BANK or self.paid_entry_id is not None


class MonthCharges(models.Model):
    """Fixed and demand charges of a month, shared over its firings; frozen once posted."""

    month = models.DateField()
    total_minor = models.BigIntegerField()
    studio_minor = models.BigIntegerField(default=0)
    studio_parts = models.JSONField(default=list)
    entry = models.OneToOneField(
        "billing.JournalEntry", null=True, on_delete=models.PROTECT, related_name="month_charges"
    )
    made_by = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="+")
    made_at = models.DateTimeField()
    reversed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-month", "-pk"]
        verbose_name_plural = "month charges"
        constraints = [
            models.UniqueConstraint(
                fields=["month"],
                condition=Q(reversed_at=None),
                name="charges_of_a_month_are_shared_once",
                violation_error_message="The charges of this month are shared already.",
            ),
            models.CheckConstraint(
                condition=Q(month__day=1), name="charges_are_named_by_the_first_of_their_month"
            ),
        ]

    def __str__(self) -> str:
        return f"Electricity charges of {self.month:%B %Y}"


class ChargeKind(models.TextChoices):
    FIXED = "fixed", "Fixed charge"
    DEMAND = "demand", "Demand charge"


class MonthChargeLine(models.Model):
    """One charge of the month, taxes included, with the working that leads to its amount."""

    charges = models.ForeignKey(MonthCharges, on_delete=models.CASCADE, related_name="lines")
    kind = models.CharField(max_length=6, choices=ChargeKind)
    text = models.CharField(max_length=120)
    tariff = models.ForeignKey(
        TariffVersion, on_delete=models.PROTECT, related_name="month_charge_lines"
    )
    amount_minor = models.BigIntegerField()
    working = models.JSONField(default=dict)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.text}: {self.amount_minor}"


class MonthChargeShare(models.Model):
    """What one billing account carries of a month's charges, and the working of it."""

    charges = models.ForeignKey(MonthCharges, on_delete=models.CASCADE, related_name="shares")
    account = models.ForeignKey(
        "studio.Account", on_delete=models.PROTECT, related_name="month_charge_shares"
    )
    amount_minor = models.BigIntegerField()
    working = models.JSONField(default=dict)

    objects = OfAccountQuerySet.as_manager()

    class Meta:
        ordering = ["account__number"]
        constraints = [
            models.UniqueConstraint(
                fields=["charges", "account"], name="one_charge_share_per_account"
            ),
        ]

    def __str__(self) -> str:
        return f"{self.account}: {self.amount_minor}"
