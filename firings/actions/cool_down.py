"""A kiln cools: when the fall began, and when it is at or below the opening limit.

Only readings or a person's pyrometer say that a kiln has reached its limit; a forecast never does.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.db import transaction

from firings.actions.alarms import clear_alarms
from firings.actions.plan_firing import change_firing_state, locked_firing, require_state
from firings.actions.tell_crew import tell_crew
from firings.actions.watch import go_on_watching, has_turned_for_good, peak_of
from firings.calculations.firing_summary import FiringSummary
from firings.calculations.readings import Reading as Moment
from firings.calculations.watch_signs import WHILE_HEATING
from firings.models import Firing, FiringPolicy, FiringState, Reading, ReadingSource
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.models import Person, Role

# So far below the peak, and still falling, a firing is over. Common practice, no source.
FALLEN_BY_C = 50.0
# So many readings in a row at or below the limit; one stray reading opens no kiln.
IN_A_ROW = 3
# A person reads a clock in whole minutes, beside a logger that may send every few seconds.
OF_NOW = timedelta(minutes=10)

Measured = tuple[datetime, float]
"""When, and the hottest zone in C."""


def begin_cooling(*, by: Person, at: datetime, firing: Firing) -> Firing:
    """Crew say that the kiln has ended its programme and cools now."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        require_state(firing, FiringState.FIRING)
        _begin(firing, by=by, at=at, why="")
        firing.save(update_fields=["state", "cooling_at"])
    return firing


def resume_firing(*, by: Person, at: datetime, firing: Firing, reason: str) -> Firing:
    """Crew say that a firing which read as cooling goes on, as after a power cut.

    From then on it is judged by what comes in, not by how hot it was before.
    """
    require_role(by, Role.CREW)
    if not reason.strip():
        raise WareRefusal("reason_missing", "Say why the firing goes on.", field="reason")
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        require_state(firing, FiringState.COOLING)
        firing.cooling_at = None
        go_on_watching(firing)
        change_firing_state(
            firing, FiringState.FIRING, deed="goes on", by=by, at=at, why=reason.strip()
        )
        firing.save(update_fields=["state", "cooling_at", "watch_state"])
    return firing


def note_fall_and_cool(
    firing: Firing, fresh: Sequence[Moment], *, source: str, by: Person | None, at: datetime
) -> None:
    """See in new readings that the kiln falls, or is at its limit. The caller holds and saves."""
    limit_c = FiringPolicy.current().opening_limit_c
    latest = _latest(firing)
    if firing.state == FiringState.FIRING and _has_ended(firing, latest, limit_c):
        summary = FiringSummary.from_json(firing.log_summary)
        fell_at = summary.peak_at or fresh[-1].at
        _begin(firing, by=by, at=fell_at, why=f"readings fell {FALLEN_BY_C:.0f} °C")
    if firing.state == FiringState.COOLING:
        by_hand = fresh[-1] if source == ReadingSource.HAND else None
        measured = _measured_at_limit(latest, by_hand, firing.cooling_at or at, limit_c)
        if measured:
            _end(firing, measured, limit_c, by=by, at=at)


def _has_ended(firing: Firing, latest: Sequence[Measured], limit_c: float) -> bool:
    """A fall from the top. Below it, it may be a power cut: an alarm, and a person decides."""
    if not _has_fallen(latest, peak_of(firing) or 0.0, limit_c):
        return False
    return has_turned_for_good(firing, [temp_c for _, temp_c in latest], limit_c)


def _has_fallen(latest: Sequence[Measured], peak_c: float, limit_c: float) -> bool:
    """Whether the last readings lie well below the peak and do not rise again."""
    last = [temp_c for _, temp_c in latest]
    if len(last) < IN_A_ROW or max(last) >= peak_c - FALLEN_BY_C:
        return False
    # At the limit a kiln is over even when its last readings waver by tenths of a degree.
    return last[-1] <= last[0] or max(last) <= limit_c


def _measured_at_limit(
    latest: Sequence[Measured], by_hand: Moment | None, fell_at: datetime, limit_c: float
) -> Measured | None:
    """What says that the kiln is at its limit: a person's reading of now, or the log's last ones.

    Readings from before the fall, that come in late, say nothing of how hot it is now.
    """
    logged_at = latest[-1][0]
    if (
        by_hand
        and by_hand.at >= max(fell_at, logged_at - OF_NOW)
        and _hottest_c(by_hand) <= limit_c
    ):
        return by_hand.at, _hottest_c(by_hand)
    is_of_the_fall = len(latest) == IN_A_ROW and latest[0][0] >= fell_at
    return latest[-1] if is_of_the_fall and max(c for _, c in latest) <= limit_c else None


def _end(
    firing: Firing, measured: Measured, limit_c: float, *, by: Person | None, at: datetime
) -> None:
    """The kiln is at its limit: crew are told to go and look."""
    firing.cooled_at, temp_c = measured
    why = f"{temp_c:.0f} °C was measured; the limit is {limit_c:.0f} °C"
    change_firing_state(firing, FiringState.COOLED, deed="cooled", by=by, at=at, why=why)
    facts = {"firing": firing.pk, "temp_c": temp_c, "limit_c": limit_c}
    tell_crew(key=f"cooled:{firing.pk}", kind="cooled", at=at, facts=facts)


def _begin(firing: Firing, *, by: Person | None, at: datetime, why: str) -> None:
    firing.cooling_at = at
    clear_alarms(firing, at=at, kinds=WHILE_HEATING)
    change_firing_state(firing, FiringState.COOLING, deed="cooling", by=by, at=at, why=why)


def _latest(firing: Firing) -> list[Measured]:
    """The last readings, oldest first: when, and the hottest zone in C."""
    return [
        (row.at, _hottest_c(row)) for row in reversed(firing.readings.order_by("-at")[:IN_A_ROW])
    ]


def _hottest_c(reading: Moment | Reading) -> float:
    zones = (reading.temp_c, reading.zone2_c, reading.zone3_c)
    return max(temp_c for temp_c in zones if temp_c is not None)
