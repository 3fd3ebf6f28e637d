"""When what waits will be fired, as last reckoned from the queue and the firings of the past."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from firings.models.bookings import Stage


class QueueForecast(models.Model):
    """The queue as it was when it was last reckoned; another fingerprint asks for it anew."""

    stage = models.CharField(max_length=6, choices=Stage)
    cone = models.CharField(max_length=4)
    fingerprint = models.CharField(max_length=64)
    made_at = models.DateTimeField()

    class Meta:
        ordering = ["stage", "cone"]
        constraints = [
            models.UniqueConstraint(fields=["stage", "cone"], name="one_forecast_per_queue"),
        ]

    def __str__(self) -> str:
        return f"Forecast of {self.stage} to cone {self.cone}"


class BookingForecast(models.Model):
    """In which coming load a booking will be (1 is the next), and between which days.

    Half of all outcomes lie from `likely_from` to `likely_to`, nine of ten within the band.
    """

    booking = models.OneToOneField(
        "firings.Booking", on_delete=models.CASCADE, related_name="forecast"
    )
    load = models.PositiveSmallIntegerField()
    likely_from = models.DateField()
    likely_to = models.DateField()
    band_from = models.DateField()
    band_to = models.DateField()

    class Meta:
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    band_from__lte=F("likely_from"),
                    likely_from__lte=F("likely_to"),
                    likely_to__lte=F("band_to"),
                ),
                name="forecast_days_are_in_order",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.booking} in load {self.load}"
