"""Tasks of the studio: thin, they call the actions."""

from __future__ import annotations

from celery import shared_task
from django.utils import timezone

from studio.actions import deliver


@shared_task
def deliver_notice(pk: int) -> None:
    """The nudge after a commit: deliver this one notice now."""
    deliver.deliver_notice(pk=pk, at=timezone.now())


@shared_task
def deliver_due_notices() -> int:
    """The sweeper, from beat: deliver whatever is due."""
    return deliver.deliver_due(at=timezone.now())
