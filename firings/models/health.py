"""What a closed firing told of its kiln: a small record, so that no page reads old logs."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class FiringHealth(models.Model):
    """Signs of wear and of the thermocouple's error in one firing, worked out as it is closed.

    Every sign may be missing: a firing without a log still has its energy and its witness cones.
    `log_heat_c` and `cones_c` are both at 60 C per hour; what they differ by is the kiln's offset.
    """

    firing = models.OneToOneField(
        "firings.Firing", on_delete=models.CASCADE, related_name="health", primary_key=True
    )
    full_power_rate_c_per_h = models.FloatField(null=True, blank=True)
    full_power_w = models.FloatField(null=True, blank=True)
    relay_cycles = models.PositiveIntegerField(null=True, blank=True)
    load_kg = models.FloatField(null=True, blank=True, help_text="weighed, else estimated")
    log_heat_c = models.FloatField(null=True, blank=True)
    cones_layer = models.PositiveSmallIntegerField(null=True, blank=True)
    cones_c = models.FloatField(null=True, blank=True)
    cones_either_way_c = models.FloatField(null=True, blank=True)
    top_minus_bottom_c = models.FloatField(null=True, blank=True)
    worked_out_at = models.DateTimeField()

    class Meta:
        verbose_name_plural = "health of firings"
        constraints = [
            models.CheckConstraint(
                condition=Q(cones_c=None, cones_either_way_c=None)
                | Q(cones_c__isnull=False, cones_either_way_c__isnull=False),
                name="measured_cone_has_its_range",
            ),
            models.CheckConstraint(
                condition=Q(full_power_w=None) | Q(full_power_w__gt=0),
                name="full_power_is_above_0",
            ),
        ]

    def __str__(self) -> str:
        return f"Health of the kiln in {self.firing_id}"

    @property
    def offset_c(self) -> float | None:
        """What the cones near the thermocouple say beyond the log: below 0 where the log reads
        higher than the cones."""
        if self.cones_c is None or self.log_heat_c is None:
            return None
        return self.cones_c - self.log_heat_c
