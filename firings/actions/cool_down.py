"""A kiln cools: when the fall began, and when it is at or below the opening limit.

Only readings or a person's pyrometer say that a kiln has reached its limit; a forecast never does.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction

from firings.actions.plan_firing import change_firing_state, locked_firing, require_state
from firings.actions.tell_crew import tell_crew
from firings.calculations.firing_summary import FiringSummary
from firings.calculations.readings import Reading as Moment
from firings.models import Firing, FiringPolicy, FiringState, Reading, ReadingSource
from studio.actions.permits import require_role
from studio.models import Person, Role

# So far below the peak, and still falling, a firing is over. Common practice, no source.
FALLEN_BY_C = 50.0
# So many readings in a row at or below the limit; one stray reading opens no kiln.
IN_A_ROW = 3
# A person reads a clock in whole minutes, beside a logger that may send every few seconds.
OF_NOW = timedelta(minutes=10)


def begin_cooling(*, by: Person, at: datetime, firing: Firing) -> Firing:
    """Crew say that the kiln has ended its programme and cools now."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        require_state(firing, FiringState.FIRING)
        _begin(firing, by=by, at=at, why="")
        firing.save(update_fields=["state", "cooling_at"])
    return firing


def note_fall_and_cool(
    firing: Firing, fresh: Sequence[Moment], *, source: str, by: Person | None, at: datetime
) -> None:
    """See in new readings that the kiln falls, or is at its limit. The caller holds and saves."""
    latest = _latest(firing)
    last = [temp_c for _, temp_c in latest]
    summary = FiringSummary.from_json(firing.log_summary)
    has_fallen = len(last) == IN_A_ROW and max(last) < (summary.peak_c or 0.0) - FALLEN_BY_C
    limit_c = FiringPolicy.current().opening_limit_c
    # At the limit a kiln is over even when its last readings waver by tenths of a degree.
    falls = has_fallen and (last[-1] <= last[0] or max(last) <= limit_c)
    if firing.state == FiringState.FIRING and falls:
        fell_at = summary.peak_at or fresh[-1].at
        _begin(firing, by=by, at=fell_at, why=f"readings fell {FALLEN_BY_C:.0f} °C")
    if firing.state != FiringState.COOLING:
        return
    # Readings from before the fall, that come in late, say nothing of how hot it is now.
    fell_at = firing.cooling_at or at
    logged_at, temp_c = latest[-1]
    is_logged = len(latest) == IN_A_ROW and latest[0][0] >= fell_at and max(last) <= limit_c
    read = fresh[-1]
    is_of_now = read.at >= max(fell_at, logged_at - OF_NOW)
    is_read_by_hand = source == ReadingSource.HAND and is_of_now and _hottest_c(read) <= limit_c
    if is_read_by_hand or is_logged:
        firing.cooled_at = logged_at
        if is_read_by_hand:
            firing.cooled_at, temp_c = read.at, _hottest_c(read)
        change_firing_state(
            firing,
            FiringState.COOLED,
            deed="cooled",
            by=by,
            at=at,
            why=f"{temp_c:.0f} °C was measured; the limit is {limit_c:.0f} °C",
        )
        facts = {"firing": firing.pk, "temp_c": temp_c, "limit_c": limit_c}
        tell_crew(key=f"cooled:{firing.pk}", kind="cooled", at=at, facts=facts)


def _begin(firing: Firing, *, by: Person | None, at: datetime, why: str) -> None:
    firing.cooling_at = at
    change_firing_state(firing, FiringState.COOLING, deed="cooling", by=by, at=at, why=why)


def _latest(firing: Firing) -> list[tuple[datetime, float]]:
    """The last readings, oldest first: when, and the hottest zone in C."""
    return [
        (row.at, _hottest_c(row)) for row in reversed(firing.readings.order_by("-at")[:IN_A_ROW])
    ]


def _hottest_c(reading: Moment | Reading) -> float:
    zones = (reading.temp_c, reading.zone2_c, reading.zone3_c)
    return max(temp_c for temp_c in zones if temp_c is not None)
