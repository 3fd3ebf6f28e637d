"""What a firing cost, and who carries which part of it."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from billing.models.of_account import OfAccountQuerySet


class TariffVersion(models.Model):
    """What the utility charges from `valid_from` until the next version begins.

    `rates` is the tariff as `billing.calculations.tariffs` reads it; prices in it are
    decimals written as text. A version that priced a firing is never edited.
    """

    name = models.CharField(max_length=80)
    valid_from = models.DateField(unique=True)
    rates = models.JSONField()
    made_by = models.ForeignKey(
        "studio.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["-valid_from"]

    def __str__(self) -> str:
        return f"{self.name} from {self.valid_from}"


class SplitPolicy(models.TextChoices):
    USED = "used", "Members carry the whole cost"
    CAPACITY = "capacity", "The studio carries the empty area"


class FiringCost(models.Model):
    """The pool of one firing and how it was split; frozen once its entry is posted."""

    firing = models.ForeignKey("firings.Firing", on_delete=models.PROTECT, related_name="costs")
    tariff = models.ForeignKey(
        TariffVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="costs"
    )
    policy = models.CharField(max_length=8, choices=SplitPolicy)
    pool_minor = models.BigIntegerField()
    studio_minor = models.BigIntegerField(default=0)
    studio_reason = models.CharField(max_length=120, blank=True)
    usable_area_mm2 = models.PositiveBigIntegerField()
    charged_area_mm2 = models.PositiveBigIntegerField()
    entry = models.OneToOneField(
        "billing.JournalEntry", null=True, on_delete=models.PROTECT, related_name="firing_cost"
    )
    made_at = models.DateTimeField()
    reversed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["firing"],
                condition=Q(reversed_at=None),
                name="each_firing_is_posted_once",
                violation_error_message="The cost of this firing is posted already.",
            ),
            models.CheckConstraint(
                condition=Q(policy__in=SplitPolicy.values), name="split_policy_is_known"
            ),
        ]

    def __str__(self) -> str:
        return f"Cost of {self.firing}"


class CostKind(models.TextChoices):
    ENERGY = "energy", "Electricity"
    WEAR = "wear", "Wear"
    CONSUMABLES = "consumables", "Consumables"
    HANDLING = "handling", "Handling"


class CostLine(models.Model):
    """One part of a pool, with the working that leads to its amount."""

    cost = models.ForeignKey(FiringCost, on_delete=models.CASCADE, related_name="lines")
    kind = models.CharField(max_length=12, choices=CostKind)
    text = models.CharField(max_length=120)
    amount_minor = models.BigIntegerField()
    part = models.ForeignKey(
        "firings.KilnPart", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    working = models.JSONField(default=dict)

    class Meta:
        ordering = ["pk"]

    def __str__(self) -> str:
        return f"{self.text}: {self.amount_minor}"


class Share(models.Model):
    """What one booking carries of a firing's pool, and the working a member can check."""

    cost = models.ForeignKey(FiringCost, on_delete=models.CASCADE, related_name="shares")
    booking = models.ForeignKey("firings.Booking", on_delete=models.PROTECT, related_name="shares")
    account = models.ForeignKey("studio.Account", on_delete=models.PROTECT, related_name="shares")
    area_mm2 = models.PositiveBigIntegerField()
    amount_minor = models.BigIntegerField()
    working = models.JSONField(default=dict)

    objects = OfAccountQuerySet.as_manager()

    class Meta:
        ordering = ["booking_id"]
        constraints = [
            models.UniqueConstraint(fields=["cost", "booking"], name="one_share_per_booking"),
        ]

    def __str__(self) -> str:
        return f"{self.booking}: {self.amount_minor}"
