"""How the studio shares costs and asks for its money: a treasurer's settings."""

from __future__ import annotations

from django.db import models

from billing.models.costs import SplitPolicy
from studio.models import SingleRow


class BillingPolicy(SingleRow):
    """Studio-wide settings of cost sharing and statements. Amounts in minor units."""

    split_policy = models.CharField(max_length=8, choices=SplitPolicy, default=SplitPolicy.USED)
    consumables_per_firing_minor = models.PositiveIntegerField(default=0)
    handling_per_firing_minor = models.PositiveIntegerField(default=0)
    payment_days = models.PositiveSmallIntegerField(default=14)
    how_to_pay = models.TextField(blank=True)

    class Meta:
        verbose_name_plural = "billing policies"
        constraints = [models.CheckConstraint(condition=models.Q(pk=1), name="one_billing_policy")]

    def __str__(self) -> str:
        return "Billing policy"
