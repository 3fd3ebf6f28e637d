"""How the studio shares costs and asks for its money: a treasurer's settings."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from billing.calculations.bank_details import (
    BIC_LENGTH_MAX,
    IBAN_LENGTH_MAX,
    PAYEE_LENGTH_MAX,
)
from billing.calculations.sharing_rules import PERCENT_MAX, FixedPart
from billing.models.costs import SplitPolicy
from studio.models import SingleRow


class FixedKind(models.TextChoices):
    NONE = "none", "Nothing: all of it by area"
    PERCENT = "percent", "A percentage of the electricity"
    AMOUNT = "amount", "An estimate of what heating the empty kiln costs"


class BillingPolicy(SingleRow):
    """Studio-wide settings of cost sharing and statements. Amounts in minor units."""

    split_policy = models.CharField(max_length=8, choices=SplitPolicy, default=SplitPolicy.USED)
    consumables_per_firing_minor = models.PositiveIntegerField(default=0)
    fixed_kind = models.CharField(max_length=7, choices=FixedKind, default=FixedKind.NONE)
    fixed_percent = models.PositiveSmallIntegerField(default=0)
    fixed_estimate_minor = models.PositiveIntegerField(default=0)
    weighs_height = models.BooleanField(default=False)
    minimum_charge_minor = models.PositiveIntegerField(default=0)
    handling_per_firing_minor = models.PositiveIntegerField(default=0)
    payment_days = models.PositiveSmallIntegerField(default=14)
    how_to_pay = models.TextField(blank=True)
    payee_name = models.CharField(max_length=PAYEE_LENGTH_MAX, blank=True)
    iban = models.CharField(max_length=IBAN_LENGTH_MAX, blank=True)
    bic = models.CharField(max_length=BIC_LENGTH_MAX, blank=True)

    class Meta:
        verbose_name_plural = "billing policies"
        constraints = [
            models.CheckConstraint(condition=Q(pk=1), name="one_billing_policy"),
            models.CheckConstraint(
                condition=Q(fixed_kind__in=FixedKind.values, fixed_percent__lte=PERCENT_MAX),
                name="fixed_part_is_a_part",
            ),
            models.CheckConstraint(
                condition=Q(iban="") | ~Q(payee_name=""),
                name="iban_has_its_payee",
                violation_error_message="An IBAN needs the name of the account's holder.",
            ),
            models.CheckConstraint(
                condition=Q(bic="") | ~Q(iban=""),
                name="bic_has_its_iban",
                violation_error_message="A BIC says nothing without its IBAN.",
            ),
        ]

    def __str__(self) -> str:
        return "Billing policy"

    @property
    def fixed_part(self) -> FixedPart:
        """What of a firing's electricity all bookings carry alike."""
        return FixedPart(
            self.fixed_kind,  # type: ignore[arg-type]  # a choice field
            self.fixed_percent,
            self.fixed_estimate_minor,
        )

    @property
    def says_how_to_pay(self) -> bool:
        return bool(self.how_to_pay or self.iban)
