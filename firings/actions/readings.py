"""Readings come in: stored once, each in the firing of its time; what follows is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import numpy.typing as npt
from django.db import transaction

from firings.actions.cool_down import note_fall_and_cool
from firings.actions.log_rows import known_times, log_parts, span_of, write_rows
from firings.actions.log_summary import take_into_summary
from firings.actions.plan_firing import STAYS_HOT_AT_MOST, locked_firing
from firings.actions.reading_checks import (
    BEFORE_START_MAX,
    TAKES_READINGS,
    check_register,
    check_window,
    checked_batch,
    local_words,
)
from firings.actions.watch import watch_firing
from firings.calculations.reading_columns import Ints, ReadingColumns, moment_of, us_of
from firings.calculations.readings import Reading as Moment
from firings.models import Firing, FiringState, Kiln, ReadingSource
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.models import Person, Role

AFTER_OPENING_MAX = timedelta(hours=1)
# The watch judges by minutes: a logger that sends each second tells it no more than every fifth.
WATCH_EVERY_S = 5.0


@dataclass(frozen=True)
class Received:
    """What became of a batch in one firing: how many were new, and how many known already."""

    firing: Firing
    stored: int
    already_known: int


@dataclass(frozen=True)
class Nowhere:
    """Readings of a batch that belong to no firing, and why; `count` of them in this span."""

    first_at: datetime
    last_at: datetime
    count: int
    reason: str


@dataclass(frozen=True)
class Shared:
    """What became of a kiln's batch: by firing, in order of time, and what belongs nowhere."""

    received: tuple[Received, ...]
    nowhere: tuple[Nowhere, ...]


def add_firing_readings(
    *,
    by: Person | None,
    at: datetime,
    firing: Firing,
    readings: Sequence[Moment],
    source: str,
) -> Received:
    """Store readings of one firing and bring its summary, watch and state up to date.

    The same batch twice changes nothing; order does not matter. Any reading that cannot be true
    refuses the whole batch. `by` is None for a logger, whose token was checked at the door.
    """
    if by is not None:
        require_role(by, Role.CREW)
    batch = checked_batch(readings, source, at)
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        check_window(firing, batch)
        received = store_readings(firing, batch, source=source, by=by, at=at)
    return received


def add_kiln_readings(*, at: datetime, kiln: Kiln, readings: Sequence[Moment]) -> Shared:
    """Store a logger's batch, each reading in the firing of its time, all or nothing of it.

    What belongs to no firing is not stored and named with the reason; when that is the whole
    batch, it is refused. A reading that cannot be true refuses everything, as everywhere.
    """
    batch = checked_batch(readings, ReadingSource.LOGGER, at)
    with transaction.atomic(durable=True):
        parts, nowhere = _by_firing(kiln, batch)
        if not parts:
            raise WareRefusal("no_firing_running", nowhere[-1].reason)
        received = []
        for found, part in sorted(parts, key=lambda pair: pair[0].pk):
            firing = locked_firing(found)
            received.append(
                store_readings(firing, part, source=ReadingSource.LOGGER, by=None, at=at)
            )
    received.sort(key=lambda one: one.firing.started_at or at)
    return Shared(tuple(received), tuple(nowhere))


def store_readings(
    firing: Firing, batch: ReadingColumns, *, source: str, by: Person | None, at: datetime
) -> Received:
    """Write what is new of a batch in order of time, and what follows from it.

    The inner part of adding readings: the caller has checked the batch and holds the firing.
    """
    fresh = write_readings(firing, batch, source=source, at=at)
    if len(fresh):
        note_fall_and_cool(firing, fresh, source=source, by=by, at=at)
        firing.save()
    return Received(firing, len(fresh), len(batch) - len(fresh))


def write_readings(
    firing: Firing, batch: ReadingColumns, *, source: str, at: datetime
) -> ReadingColumns:
    """Write what is new of a batch, with summary and watch; returns that. The caller saves."""
    fresh = _not_known_yet(firing, batch)
    if len(fresh):
        check_register(firing, fresh)
        write_rows(firing, fresh, source)
        take_into_summary(firing, fresh)
        watched = fresh.at_most_every(WATCH_EVERY_S)
        watch_firing(firing, watched, source=source, at=at)
    return fresh


def _not_known_yet(firing: Firing, batch: ReadingColumns) -> ReadingColumns:
    first_at, last_at = span_of(batch)
    if firing.log_last_at is None or first_at > firing.log_last_at:
        return batch
    known = known_times(firing, first_at, last_at)
    return batch.pick(~np.isin(batch.at_us, known)) if len(known) else batch


def _by_firing(
    kiln: Kiln, batch: ReadingColumns
) -> tuple[list[tuple[Firing, ReadingColumns]], list[Nowhere]]:
    """Part a batch in order of time among the kiln's firings; the rest belongs nowhere."""
    first_at, last_at = span_of(batch)
    firings = _begun_firings(kiln, first_at, last_at)
    starts_us = [us_of(_log_begins_at(firing)) for firing in firings]
    owners = np.searchsorted(np.array(starts_us, dtype=np.int64), batch.at_us, side="right") - 1
    parts, is_nowhere = [], owners < 0
    for place, firing in enumerate(firings):
        is_its = owners == place
        ends_us = us_of(_log_ends_at(firing, last_at))
        is_nowhere |= is_its & (batch.at_us > ends_us)
        part = batch.pick(is_its & (batch.at_us <= ends_us))
        if len(part):
            parts.append((firing, part))
    return parts, [_nowhere(kiln, span) for span in _spans(batch.at_us, is_nowhere)]


def _begun_firings(kiln: Kiln, first_at: datetime, last_at: datetime) -> list[Firing]:
    """The kiln's firings that a span of time can belong to, in order of their start."""
    begun = Firing.objects.filter(
        kiln=kiln, state__in=TAKES_READINGS, started_at__lte=last_at + BEFORE_START_MAX
    ).order_by("-started_at")
    found: list[Firing] = []
    for firing in begun.iterator(chunk_size=20):
        found.insert(0, firing)
        if _log_begins_at(firing) <= first_at:
            break
    return found


def _spans(at_us: Ints, is_such: npt.NDArray[np.bool_]) -> list[Ints]:
    """The times that are such, in unbroken runs of the batch."""
    places = np.flatnonzero(is_such)
    if not len(places):
        return []
    return [at_us[run] for run in np.split(places, np.flatnonzero(np.diff(places) > 1) + 1)]


def _nowhere(kiln: Kiln, times_us: Ints) -> Nowhere:
    first_at, last_at = moment_of(times_us[0]), moment_of(times_us[-1])
    reason = (
        f"{kiln} was not being fired at {local_words(last_at)}, so these readings belong "
        "nowhere. Start the firing in Wareboard first."
    )
    return Nowhere(first_at, last_at, len(times_us), reason)


def _log_begins_at(firing: Firing) -> datetime:
    """A logger is often switched on a little before its firing is started here."""
    return (firing.started_at or firing.planned_for) - BEFORE_START_MAX


def _log_ends_at(firing: Firing, at: datetime) -> datetime:
    """How long a logger's readings are the firing's: to its opening, or until it was cold."""
    if firing.opened_at is not None:
        return firing.opened_at + AFTER_OPENING_MAX
    if firing.state == FiringState.ABORTED and firing.closed_at is not None:
        return firing.closed_at + STAYS_HOT_AT_MOST
    return at


def moments_of(firing: Firing) -> list[Moment]:
    """All readings of a firing as the calculations take them, in order of time.

    It reads the whole log: pages take `short_log` instead.
    """
    return [reading for part in log_parts(firing) for reading in part]
