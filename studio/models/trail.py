"""The audit trail: when, who and why, of every change of state."""

from __future__ import annotations

from django.db import models


class TrailEntry(models.Model):
    """One deed, written by the action that did it and never changed."""

    subject_kind = models.CharField(max_length=40)
    subject_id = models.PositiveBigIntegerField()
    deed = models.CharField(max_length=60)
    from_state = models.CharField(max_length=20, blank=True)
    to_state = models.CharField(max_length=20, blank=True)
    at = models.DateTimeField()
    by = models.ForeignKey(
        "studio.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="+"
    )
    why = models.TextField(blank=True)
    details = models.JSONField(default=dict)

    class Meta:
        ordering = ["at", "pk"]
        indexes = [
            # the history shown on the page of one booking, firing or kiln
            models.Index(fields=["subject_kind", "subject_id", "at"], name="trail_of_a_subject"),
        ]

    def __str__(self) -> str:
        return f"{self.subject_kind} {self.subject_id}: {self.deed}"
