"""Who worked at a firing and how long: the ground of crew credits."""

from __future__ import annotations

from datetime import datetime

from django.db import transaction

from billing.actions.ledger import hold_ledger
from billing.models import CrewTurn, FiringCost
from billing.refusals import BillingRefusal
from firings.models import Firing, FiringState
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

MINUTES_MAX = 3 * 24 * 60
BEFORE_WORK = (FiringState.PLANNED, FiringState.OPEN, FiringState.CANCELLED)


def note_crew_turn(
    *, by: Person, at: datetime, firing: Firing, person: Person, minutes: int
) -> CrewTurn:
    """Write down that somebody worked at a firing; once more replaces the minutes, 0 is allowed.

    Only until the firing is priced: its credits stand in the same entry as its cost.
    """
    require_role(by, Role.CREW, Role.MANAGER, Role.TREASURER)
    with transaction.atomic(durable=True):
        _check_is_open(firing)
        if not 0 <= minutes <= MINUTES_MAX:
            raise BillingRefusal(
                "minutes_wrong", "Between no time and three days.", field="minutes", status=422
            )
        turn, _ = CrewTurn.objects.update_or_create(
            firing=firing,
            person=person,
            defaults={"minutes": minutes, "noted_by": by, "noted_at": at},
        )
        record_deed(firing, "crew noted", by=by, at=at, person=person.pk, minutes=minutes)
    return turn


def strike_crew_turn(*, by: Person, at: datetime, turn: CrewTurn) -> None:
    """Take back a turn that was noted by mistake, until the firing is priced."""
    require_role(by, Role.CREW, Role.MANAGER, Role.TREASURER)
    with transaction.atomic(durable=True):
        _check_is_open(turn.firing)
        record_deed(turn.firing, "crew struck", by=by, at=at, person=turn.person_id)
        turn.delete()


def _check_is_open(firing: Firing) -> None:
    hold_ledger()
    state = Firing.objects.values_list("state", flat=True).get(pk=firing.pk)
    if state in BEFORE_WORK:
        raise BillingRefusal("no_work_yet", f"{firing} has not been loaded: nobody worked at it.")
    if FiringCost.objects.filter(firing=firing, reversed_at=None).exists():
        raise BillingRefusal(
            "firing_posted",
            f"The cost of {firing} is posted, with its crew credits. Take the cost back first, or "
            "give a credit.",
        )
