"""What the watch over a firing has raised, and the thresholds it goes by at each kiln."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q


class AlarmKind(models.TextChoices):
    POWER_LOST = "power_lost", "No heat, as after a power cut"
    STUCK_OFF = "stuck_off", "Asks for heat and draws no power"
    FALLING = "falling", "Falls while it should rise"
    STALLED = "stalled", "Rises too slowly"
    OFF_SET_POINT = "off_set_point", "Far below its set point"
    LOW_POWER = "low_power", "Draws too little power"
    OVERSHOOT = "overshoot", "Hotter than it should be"
    STUCK_ON = "stuck_on", "Heats though nothing asks for it"
    SENSOR = "sensor", "The thermocouple cannot be right"
    LATE = "late", "Takes longer than it should"
    ROOM = "room", "The room is too hot"
    CONTROL_BOX = "control_box", "The control box is too hot"
    NO_DATA = "no_data", "No reading comes in"


class AlarmQuerySet(models.QuerySet["Alarm"]):
    def open(self) -> AlarmQuerySet:
        """What is not over."""
        return self.filter(cleared_at=None)


class Alarm(models.Model):
    """One episode of something that a person should look at. `evidence` holds plain numbers:
    temperatures in C, rates in C per hour, duty and draw from 0 to 1, times in minutes."""

    firing = models.ForeignKey("firings.Firing", on_delete=models.PROTECT, related_name="alarms")
    kind = models.CharField(max_length=16, choices=AlarmKind)
    raised_at = models.DateTimeField()
    evidence = models.JSONField(default=dict)
    sentence = models.TextField(help_text="what was measured, in °C")
    acknowledged_at = models.DateTimeField(null=True, blank=True)
    acknowledged_by = models.ForeignKey(
        "studio.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    remark = models.TextField(blank=True)
    cleared_at = models.DateTimeField(null=True, blank=True)

    objects = AlarmQuerySet.as_manager()

    class Meta:
        ordering = ["-raised_at", "-pk"]
        constraints = [
            models.UniqueConstraint(
                fields=["firing", "kind"],
                condition=Q(cleared_at=None),
                name="one_open_alarm_per_kind",
                violation_error_message="This alarm is open already.",
            ),
            models.CheckConstraint(
                condition=Q(kind__in=AlarmKind.values), name="alarm_kind_is_known"
            ),
            models.CheckConstraint(
                condition=Q(acknowledged_at=None, acknowledged_by=None)
                | Q(acknowledged_at__isnull=False, acknowledged_by__isnull=False),
                name="acknowledged_alarm_names_the_person",
            ),
            models.CheckConstraint(
                condition=Q(cleared_at=None) | Q(cleared_at__gte=F("raised_at")),
                name="alarm_is_over_after_it_began",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.get_kind_display()}, {self.firing}"


class WatchLimits(models.Model):
    """When the watch over one kiln speaks. A kiln without a row goes by the defaults.

    Common practice, no source, and tried on simulated firings (tests/benchmarks/watch.py), unless
    a source stands beside it. Without a limit of its own, room and control box go by the policy.
    """

    kiln = models.OneToOneField(
        "firings.Kiln", on_delete=models.CASCADE, related_name="watch_limits"
    )
    stall_percent = models.PositiveSmallIntegerField(default=70)
    stall_minutes = models.PositiveSmallIntegerField(default=45)
    off_set_point_c = models.FloatField(default=40)
    off_set_point_minutes = models.PositiveSmallIntegerField(default=20)
    overshoot_c = models.FloatField(default=20)
    fall_c = models.FloatField(default=10)
    no_data_minutes = models.PositiveSmallIntegerField(default=20)
    late_percent = models.PositiveSmallIntegerField(default=30)
    top_margin_c = models.FloatField(default=30)
    zone_spread_c = models.FloatField(default=50)
    room_limit_c = models.FloatField(null=True, blank=True)
    control_box_limit_c = models.FloatField(null=True, blank=True)

    class Meta:
        verbose_name_plural = "watch limits"
        constraints = [
            models.CheckConstraint(
                condition=Q(
                    stall_percent__gte=1,
                    stall_percent__lte=95,
                    stall_minutes__gte=15,
                    off_set_point_c__gt=0,
                    overshoot_c__gt=0,
                    fall_c__gt=0,
                    no_data_minutes__gte=5,
                ),
                name="watch_limits_leave_room_for_noise",
                violation_error_message="These limits would raise an alarm at every firing.",
            ),
        ]

    def __str__(self) -> str:
        return f"Watch over {self.kiln}"
