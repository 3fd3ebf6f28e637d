"""Where a kiln's meters and loggers publish what they measure."""

from __future__ import annotations

from django.db import models

from firings.calculations.published_readings import FieldPath, MessageMapping
from firings.models.kilns import Kiln


class TimeUnit(models.TextChoices):
    ISO = "iso", "Date and time, ISO 8601"
    UNIX_S = "unix_s", "Seconds since 1970"
    UNIX_MS = "unix_ms", "Milliseconds since 1970"


class KilnTopic(models.Model):
    """An MQTT topic that speaks of one kiln, and how its messages are read.

    `fields`: [field of a reading, path in the message, unit] each. The listener notes when it
    last heard a message here, and the last one it could not read.
    """

    kiln = models.ForeignKey(Kiln, on_delete=models.CASCADE, related_name="topics")
    topic = models.CharField(max_length=200, unique=True)
    fields = models.JSONField(default=list)
    time_path = models.CharField(max_length=120, blank=True)
    time_unit = models.CharField(max_length=7, choices=TimeUnit, default=TimeUnit.ISO)
    last_heard_at = models.DateTimeField(null=True, blank=True)
    last_fault = models.CharField(max_length=200, blank=True)
    last_fault_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["kiln", "topic"]

    def __str__(self) -> str:
        return self.topic

    @property
    def mapping(self) -> MessageMapping:
        paths = tuple(FieldPath(*one) for one in self.fields)
        return MessageMapping(paths, self.time_path, self.time_unit)
