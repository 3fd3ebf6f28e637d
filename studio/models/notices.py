"""The outbox: what people are to be told, written with the deed that caused it."""

from __future__ import annotations

from datetime import datetime

from django.db import models
from django.utils import timezone


class NoticeState(models.TextChoices):
    WAITING = "waiting", "Waiting"
    SENT = "sent", "Sent"
    DROPPED = "dropped", "No longer needed"
    FAILED = "failed", "Could not be delivered"


class NoticeQuerySet(models.QuerySet["Notice"]):
    def due(self, at: datetime) -> NoticeQuerySet:
        """Waiting rows whose time has come and that no worker is delivering."""
        is_free = models.Q(claimed_until=None) | models.Q(claimed_until__lte=at)
        return self.filter(is_free, state=NoticeState.WAITING, due_at__lte=at)


class Notice(models.Model):
    """One message for one person; `key` says what it is about, so it exists once.

    `claimed_until` is the deadline of the worker that is delivering it now, or, after a failed
    attempt, the moment of the next; a row whose moment has passed is free. `message_id` is
    fixed before the first attempt, so that a repeated delivery carries the same Message-ID
    (RFC 5322, 3.6.4).
    """

    key = models.CharField(max_length=200, unique=True)
    kind = models.CharField(max_length=40)
    channel = models.CharField(max_length=20, default="email")
    person = models.ForeignKey(
        "studio.Person", null=True, blank=True, on_delete=models.PROTECT, related_name="notices"
    )
    address = models.CharField(max_length=254)
    facts = models.JSONField(default=dict)
    state = models.CharField(max_length=8, choices=NoticeState, default=NoticeState.WAITING)
    written_at = models.DateTimeField(default=timezone.now)
    due_at = models.DateTimeField(default=timezone.now)
    claimed_until = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    message_id = models.CharField(max_length=320, unique=True)
    sent_at = models.DateTimeField(null=True, blank=True)
    last_error = models.TextField(blank=True)

    objects = NoticeQuerySet.as_manager()

    class Meta:
        ordering = ["-written_at", "-pk"]
        constraints = [
            models.CheckConstraint(
                condition=models.Q(state__in=NoticeState.values), name="notice_state_is_known"
            ),
        ]
        indexes = [
            # the sweeper looks for waiting rows that are due
            models.Index(
                fields=["due_at"],
                condition=models.Q(state="waiting"),
                name="notices_waiting_by_due",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.kind} to {self.address}"


class MailboxMessage(models.Model):
    """An e-mail kept to be read in the app where no mail server is set up."""

    message_id = models.CharField(max_length=320)
    sender = models.CharField(max_length=254)
    recipient = models.CharField(max_length=254, db_index=True)
    subject = models.CharField(max_length=500)
    text = models.TextField()
    html = models.TextField(blank=True)
    received_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-received_at", "-pk"]

    def __str__(self) -> str:
        return f"{self.recipient}: {self.subject}"
