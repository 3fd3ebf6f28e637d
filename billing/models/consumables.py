"""What firings use up besides electricity: cones, kiln wash, stilts."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class ConsumedPer(models.TextChoices):
    FIRING = "firing", "for each firing"
    LAYER = "layer", "for each layer of the load"
    BOOKING = "booking", "for each slip"
    AREA = "area", "for each 1,000 cm² charged"


class Consumable(models.Model):
    """A thing with its price. What a firing was charged for it is kept with the firing's cost."""

    name = models.CharField(max_length=60, unique=True)
    price_minor = models.PositiveIntegerField()
    per = models.CharField(max_length=7, choices=ConsumedPer)
    is_used = models.BooleanField(default=True)

    class Meta:
        ordering = ["name"]
        constraints = [
            models.CheckConstraint(
                condition=Q(per__in=ConsumedPer.values), name="consumable_counts_by_what_is_known"
            ),
            models.CheckConstraint(condition=Q(price_minor__gt=0), name="consumable_has_a_price"),
        ]

    def __str__(self) -> str:
        return self.name
