"""The studio as data: what a manager edits on screen and everything else reads."""

from __future__ import annotations

import zoneinfo

from django.db import models

from studio.models.people import LENGTH_UNITS, TEMPERATURE_UNITS
from studio.models.single_row import SingleRow


class Studio(SingleRow):
    """The one studio that this deployment serves."""

    name = models.CharField(max_length=120, default="Our studio")
    address = models.TextField(blank=True)
    contact_email = models.EmailField(blank=True)
    time_zone = models.CharField(max_length=64, default="UTC")
    currency = models.CharField(max_length=3, default="USD")
    language = models.CharField(max_length=10, default="en")
    length_unit = models.CharField(max_length=2, default="cm", choices=LENGTH_UNITS)
    temperature_unit = models.CharField(max_length=1, default="C", choices=TEMPERATURE_UNITS)
    invitation_days = models.PositiveSmallIntegerField(default=14)
    pick_up_days = models.PositiveSmallIntegerField(default=14)
    reminder_days = models.PositiveSmallIntegerField(default=7)

    class Meta:
        verbose_name_plural = "studios"
        constraints = [
            models.CheckConstraint(condition=models.Q(pk=1), name="one_studio_per_deployment")
        ]

    def __str__(self) -> str:
        return self.name

    @property
    def zone(self) -> zoneinfo.ZoneInfo:
        return zoneinfo.ZoneInfo(self.time_zone)
