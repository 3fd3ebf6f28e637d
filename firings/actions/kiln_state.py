"""A kiln's row is held and its state changed: what all deeds that touch it share.

Deeds that need several rows lock the kiln first, then the firing, then its bookings.
"""

from __future__ import annotations

from datetime import datetime

from firings.models import CareKind, CareTask, Kiln, KilnState
from studio.actions.trail import record_deed
from studio.models import Person


def held_kiln(pk: int) -> Kiln:
    """The kiln's row as it is now, held until the transaction ends."""
    return Kiln.objects.select_for_update().get(pk=pk)


def change_kiln_state(
    kiln: Kiln, state: KilnState, deed: str, *, by: Person | None, at: datetime, why: str = ""
) -> None:
    """Write the state and the trail of a kiln that the caller holds and has checked."""
    record_deed(kiln, deed, by=by, at=at, from_state=kiln.state, to_state=state.value, why=why)
    kiln.state = state
    kiln.save(update_fields=["state"])


def ask_first_firing(kiln: Kiln, at: datetime) -> None:
    """Note that the kiln must run empty; one that was asked for before is asked for anew."""
    CareTask.objects.update_or_create(
        kiln=kiln, kind=CareKind.FIRST_FIRING, done_at=None, defaults={"due_since": at}
    )
