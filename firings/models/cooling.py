"""What a kiln's closed firings taught about how it cools."""

from __future__ import annotations

from django.db import models


class CoolingHabits(models.Model):
    """The habits of one kiln as firings.calculations.cooling_prior writes them; a few kilobytes.

    Brought up to date when a firing is closed, so that no page reads old logs.
    """

    kiln = models.OneToOneField(
        "firings.Kiln", on_delete=models.CASCADE, related_name="cooling_habits"
    )
    learned = models.JSONField()
    firings_count = models.PositiveIntegerField()
    learned_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "cooling habits"
        constraints = [
            models.CheckConstraint(
                condition=models.Q(firings_count__gt=0), name="habits_come_of_a_firing"
            ),
        ]

    def __str__(self) -> str:
        return f"How {self.kiln} cools, from {self.firings_count} firings"
