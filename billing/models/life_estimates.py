"""How long a part is now expected to last."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class LifeEstimate(models.Model):
    """Cost or life of a part estimated anew: what had been charged and used by then.

    What was left then is spread over what is left of its life; charges that were posted stay.
    """

    part = models.ForeignKey("firings.KilnPart", on_delete=models.PROTECT, related_name="estimates")
    replacement_cost_minor = models.PositiveBigIntegerField()
    expected_life = models.DecimalField(max_digits=9, decimal_places=2)
    charged_minor = models.PositiveBigIntegerField()
    units_used = models.DecimalField(max_digits=12, decimal_places=4)
    reason = models.CharField(max_length=500)
    made_by = models.ForeignKey(
        "studio.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["-made_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=Q(expected_life__gt=models.F("units_used")),
                name="estimated_life_is_longer_than_what_is_used",
                violation_error_message="It has been used for longer already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.part}: {self.expected_life}"
