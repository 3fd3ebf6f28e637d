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
    """The pool of one firing and how it was split; frozen once its entry is posted.

    `rule` is the rest of the policy that it was split by.
    """

    firing = models.ForeignKey("firings.Firing", on_delete=models.PROTECT, related_name="costs")
    tariff = models.ForeignKey(
        TariffVersion, null=True, blank=True, on_delete=models.PROTECT, related_name="costs"
    )
    policy = models.CharField(max_length=8, choices=SplitPolicy)
    rule = models.JSONField(default=dict)
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
    """What one booking is charged, and the working a member can check.

    `split_minor` is its part of the pool; with its steps it makes `amount_minor`.
    """

    cost = models.ForeignKey(FiringCost, on_delete=models.CASCADE, related_name="shares")
    booking = models.ForeignKey("firings.Booking", on_delete=models.PROTECT, related_name="shares")
    account = models.ForeignKey("studio.Account", on_delete=models.PROTECT, related_name="shares")
    area_mm2 = models.PositiveBigIntegerField()
    split_minor = models.BigIntegerField(default=0)
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


class StepKind(models.TextChoices):
    MINIMUM = "minimum", "Minimum charge"
    SURCHARGE = "surcharge", "Surcharge"
    AREA_ALLOWANCE = "area_allowance", "Allowance"
    AMOUNT_ALLOWANCE = "amount_allowance", "Allowance"
    SUBSIDY = "subsidy", "Subsidy"
    CREW = "crew", "Crew credit"


ADDS = (StepKind.MINIMUM, StepKind.SURCHARGE)


class ChargeStep(models.Model):
    """What one rule added to a share (positive) or took off it (negative).

    A crew credit belongs to an account and no share. `used` is what it used up of an allowance:
    mm2 or minor units.
    """

    cost = models.ForeignKey(FiringCost, on_delete=models.CASCADE, related_name="steps")
    share = models.ForeignKey(
        Share, null=True, blank=True, on_delete=models.CASCADE, related_name="steps"
    )
    account = models.ForeignKey("studio.Account", on_delete=models.PROTECT, related_name="+")
    membership = models.ForeignKey(
        "billing.Membership", null=True, blank=True, on_delete=models.PROTECT, related_name="steps"
    )
    kind = models.CharField(max_length=16, choices=StepKind)
    text = models.CharField(max_length=120)
    amount_minor = models.BigIntegerField()
    used = models.PositiveBigIntegerField(default=0)
    working = models.JSONField(default=dict)

    class Meta:
        ordering = ["pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=ADDS, amount_minor__gte=0)
                | (~Q(kind__in=ADDS) & Q(amount_minor__lte=0)),
                name="step_adds_or_takes_as_its_kind_does",
            ),
            models.CheckConstraint(
                condition=Q(kind="crew", share__isnull=True)
                | (~Q(kind="crew") & Q(share__isnull=False)),
                name="step_has_its_share_unless_for_crew",
            ),
            models.CheckConstraint(
                condition=Q(kind="minimum") | Q(membership__isnull=False),
                name="step_has_its_membership_unless_minimum",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.text}: {self.amount_minor}"
