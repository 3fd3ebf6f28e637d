"""What a utility's own meter measured of a kiln, as its files say."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from firings.models.kilns import Kiln


class MeterFile(models.Model):
    """A file of interval data that was taken in, of a meter that measures one kiln alone.

    `remarks`: what the file says of itself and what is missing in it, one sentence each. `cost`
    is what the utility says it cost, in `currency`; it prices nothing here.
    """

    kiln = models.ForeignKey(Kiln, on_delete=models.CASCADE, related_name="meter_files")
    file_name = models.CharField(max_length=120)
    meter_name = models.CharField(max_length=120)
    content_hash = models.CharField(max_length=64)
    start_at = models.DateTimeField()
    end_at = models.DateTimeField()
    intervals_count = models.PositiveIntegerField()
    energy_wh = models.DecimalField(max_digits=16, decimal_places=3)
    cost = models.DecimalField(max_digits=16, decimal_places=5, null=True, blank=True)
    currency = models.CharField(max_length=3, blank=True)
    remarks = models.JSONField(default=list)
    taken_in_at = models.DateTimeField()
    taken_in_by = models.ForeignKey("studio.Person", on_delete=models.PROTECT, related_name="+")

    class Meta:
        ordering = ["-taken_in_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["kiln", "content_hash", "meter_name"],
                name="meter_file_is_taken_in_once",
                violation_error_message="This file was taken in for this kiln already.",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.file_name} of {self.kiln}"


class MeterInterval(models.Model):
    """Energy from start_at (included) to end_at (not included), both UTC; `quality` by ESPI."""

    kiln = models.ForeignKey(Kiln, on_delete=models.CASCADE, related_name="meter_intervals")
    file = models.ForeignKey(MeterFile, on_delete=models.CASCADE, related_name="intervals")
    start_at = models.DateTimeField()
    end_at = models.DateTimeField()
    energy_wh = models.DecimalField(max_digits=14, decimal_places=3)
    quality = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["start_at"]
        constraints = [
            models.UniqueConstraint(fields=["kiln", "start_at"], name="one_interval_per_start"),
            models.CheckConstraint(
                condition=Q(end_at__gt=F("start_at"), energy_wh__gte=0),
                name="interval_takes_time_and_energy",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.energy_wh} Wh from {self.start_at:%Y-%m-%d %H:%M}"
