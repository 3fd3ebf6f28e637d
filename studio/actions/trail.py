"""Write down who did what, when and why. Called inside the action's own transaction."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.db import models

from studio.models import Person, TrailEntry


def record_deed(
    subject: models.Model,
    deed: str,
    *,
    by: Person | None,
    at: datetime,
    from_state: str = "",
    to_state: str = "",
    why: str = "",
    **details: Any,
) -> TrailEntry:
    """Add one entry to the trail of `subject`; `details` must be plain JSON values."""
    return TrailEntry.objects.create(
        subject_kind=subject._meta.model_name or "",
        subject_id=subject.pk,
        deed=deed,
        from_state=from_state,
        to_state=to_state,
        at=at,
        by=by,
        why=why,
        details=details,
    )


def trail_of(subject: models.Model) -> models.QuerySet[TrailEntry]:
    """The deeds done to `subject`, oldest first, with who did them."""
    return TrailEntry.objects.filter(
        subject_kind=subject._meta.model_name, subject_id=subject.pk
    ).select_related("by")
