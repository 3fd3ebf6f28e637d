"""What the studio has agreed with accounts beyond the split, and who worked at which firing."""

from __future__ import annotations

from datetime import date
from decimal import Decimal

from django.db import models
from django.db.models import Q

from billing.models.of_account import OfAccountQuerySet


class MembershipKind(models.TextChoices):
    AREA_ALLOWANCE = "area_allowance", "Shelf area free each month"
    AMOUNT_ALLOWANCE = "amount_allowance", "An amount free each month"
    SUBSIDY = "subsidy", "A part carried by a subsidy"
    SURCHARGE = "surcharge", "A surcharge, as for guests"
    CREW_FIRING = "crew_firing", "A credit for each firing crewed"
    CREW_HOUR = "crew_hour", "A credit for each hour crewed"
    CREW_PERCENT = "crew_percent", "A part of the own charges back for crewing"


BY_PERCENT = (MembershipKind.SUBSIDY, MembershipKind.SURCHARGE, MembershipKind.CREW_PERCENT)
BY_AMOUNT = (
    MembershipKind.AMOUNT_ALLOWANCE,
    MembershipKind.CREW_FIRING,
    MembershipKind.CREW_HOUR,
)
CREW = (MembershipKind.CREW_FIRING, MembershipKind.CREW_HOUR, MembershipKind.CREW_PERCENT)


class Membership(models.Model):
    """One thing that accounts may hold, by the name they read on statements.

    Of the three values the kind's own is set: 1/100 of a percent, minor units, or mm2 (of an
    allowance for each month of the calendar). Once it has changed a charge it is final.
    """

    name = models.CharField(max_length=60, unique=True)
    kind = models.CharField(max_length=16, choices=MembershipKind)
    basis_points = models.PositiveIntegerField(default=0)
    amount_minor = models.PositiveBigIntegerField(default=0)
    area_mm2 = models.PositiveBigIntegerField(default=0)
    is_offered = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(kind__in=BY_PERCENT, basis_points__gt=0, amount_minor=0, area_mm2=0)
                | Q(kind__in=BY_AMOUNT, basis_points=0, amount_minor__gt=0, area_mm2=0)
                | Q(kind="area_allowance", basis_points=0, amount_minor=0, area_mm2__gt=0),
                name="membership_has_the_value_of_its_kind",
                violation_error_message="Give the percentage, the amount or the area it is about.",
            ),
            models.CheckConstraint(
                condition=~Q(kind__in=["subsidy", "crew_percent"]) | Q(basis_points__lte=10_000),
                name="no_more_than_the_whole_is_carried",
                violation_error_message="No more than 100 % can be carried.",
            ),
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def is_for_crew(self) -> bool:
        return self.kind in CREW

    @property
    def percent(self) -> Decimal:
        return Decimal(self.basis_points) / 100

    @property
    def value(self) -> int:
        """The one value of its kind."""
        return self.basis_points or self.amount_minor or self.area_mm2


class HoldingQuerySet(OfAccountQuerySet):
    def on(self, day: date) -> HoldingQuerySet:
        """Those that hold on a day, its first and last day included."""
        return self.filter(valid_from__lte=day).filter(
            Q(valid_until=None) | Q(valid_until__gte=day)
        )


class MembershipHolding(models.Model):
    """An account holds a membership from a day on, until another day or until further notice."""

    account = models.ForeignKey("studio.Account", on_delete=models.PROTECT, related_name="holdings")
    membership = models.ForeignKey(Membership, on_delete=models.PROTECT, related_name="holdings")
    valid_from = models.DateField()
    valid_until = models.DateField(null=True, blank=True)
    given_by = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="+")
    given_at = models.DateTimeField()

    objects = HoldingQuerySet.as_manager()

    class Meta:
        ordering = ["account__number", "valid_from", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["account", "membership", "valid_from"], name="one_holding_from_a_day"
            ),
            models.CheckConstraint(
                condition=Q(valid_until=None) | Q(valid_until__gte=models.F("valid_from")),
                name="holding_ends_after_it_begins",
                violation_error_message="The last day lies before the first.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.membership} of {self.account}"


class CrewTurn(models.Model):
    """Somebody worked at a firing, for so many minutes."""

    firing = models.ForeignKey("firings.Firing", on_delete=models.PROTECT, related_name="turns")
    person = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="turns")
    minutes = models.PositiveIntegerField()
    noted_by = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="+")
    noted_at = models.DateTimeField()

    class Meta:
        ordering = ["firing", "pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["firing", "person"],
                name="one_turn_of_each_person_at_a_firing",
                violation_error_message="This person's work at this firing is noted already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.person} at {self.firing}"
