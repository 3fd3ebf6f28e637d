"""Tell everybody who stands at the kiln."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from studio.actions.outbox import write_notice
from studio.models import Person, Role


def tell_crew(*, key: str, kind: str, at: datetime, facts: dict[str, Any]) -> int:
    """One notice for each person who holds the role crew; answer how many are new."""
    written = 0
    for person in Person.objects.active().holding(Role.CREW):
        notice = write_notice(
            key=f"{key}:{person.pk}", kind=kind, person=person, at=at, facts=facts
        )
        written += notice is not None and notice.written_at == at
    return written
