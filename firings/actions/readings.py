"""Readings come in: from a logger, a file or by hand. Each batch updates what is known."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from datetime import datetime, timedelta
from itertools import pairwise

from django.db import transaction

from firings.actions.cool_down import note_fall_and_cool
from firings.actions.plan_firing import STAYS_HOT_AT_MOST, locked_firing
from firings.actions.watch import watch_firing
from firings.calculations.firing_summary import FiringSummary, add_readings, summarise
from firings.calculations.readings import Reading as Moment
from firings.calculations.readings import check_reading
from firings.models import Firing, FiringState, Kiln, Reading, ReadingSource
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.models import Person, Role, Studio

BATCH_MAX = 10_000
TAKES_READINGS = (
    FiringState.FIRING,
    FiringState.COOLING,
    FiringState.COOLED,
    FiringState.OPENED,
    FiringState.ABORTED,
)
# A logger's clock may run ahead by as much; more is a wrong clock or a wrong time zone.
CLOCK_AHEAD_MAX = timedelta(minutes=10)
# A logger is often switched on a little before its firing is started here.
BEFORE_START_MAX = timedelta(hours=1)
AFTER_OPENING_MAX = timedelta(hours=1)


@dataclass(frozen=True)
class Received:
    """What became of a batch: how many were new, and how many were known already."""

    firing: Firing
    stored: int
    already_known: int


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
    _check_batch(readings, source, at)
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        _check_window(firing, readings)
        known = set(
            firing.readings.filter(at__in=[reading.at for reading in readings]).values_list(
                "at", flat=True
            )
            if len(readings) <= 500
            else firing.readings.values_list("at", flat=True)
        )
        fresh = sorted((r for r in readings if r.at not in known), key=lambda r: r.at)
        if fresh:
            _check_register(firing, fresh)
            Reading.objects.bulk_create(
                [Reading(firing=firing, source=source, **asdict(moment)) for moment in fresh],
                batch_size=500,
            )
            _update_summary(firing, fresh)
            watch_firing(firing, fresh, source=source, at=at)
            note_fall_and_cool(firing, fresh, source=source, by=by, at=at)
            firing.save()
    return Received(firing, len(fresh), len(readings) - len(fresh))


def firing_of_reading(kiln: Kiln, readings: Sequence[Moment]) -> Firing:
    """The firing that a logger's batch belongs to, by the time of its last reading.

    A firing that is opened but not closed keeps its place while the next one runs. Refused when
    the kiln was in no firing then: a logger that runs on fills no log with an idle kiln.
    """
    if not readings:
        raise _empty_batch()
    last_at = max(reading.at for reading in readings)
    begun = Firing.objects.filter(
        kiln=kiln, state__in=TAKES_READINGS, started_at__lte=last_at + BEFORE_START_MAX
    )
    firing = begun.order_by("-started_at").first()
    if firing is None or last_at > _log_ends_at(firing, last_at):
        raise WareRefusal(
            "no_firing_running",
            f"{kiln} was not being fired at {_local(last_at)}, so these readings belong "
            "nowhere. Start the firing in Wareboard first.",
        )
    return firing


def _log_ends_at(firing: Firing, at: datetime) -> datetime:
    """How long a logger's readings are the firing's: to its opening, or until it was cold."""
    if firing.opened_at is not None:
        return firing.opened_at + AFTER_OPENING_MAX
    if firing.state == FiringState.ABORTED and firing.closed_at is not None:
        return firing.closed_at + STAYS_HOT_AT_MOST
    return at


def moments_of(firing: Firing) -> list[Moment]:
    """All readings of a firing as the calculations take them, in order of time."""
    fields = list(Moment.__dataclass_fields__)
    return [Moment(*row) for row in firing.readings.order_by("at").values_list(*fields)]


def _empty_batch() -> WareRefusal:
    return WareRefusal("no_readings", "There are no readings in this batch.", status=400)


def _check_batch(readings: Sequence[Moment], source: str, at: datetime) -> None:
    if not readings:
        raise _empty_batch()
    if source == ReadingSource.LOGGER and len(readings) > BATCH_MAX:  # a file has its own limit
        raise WareRefusal(
            "batch_too_large", f"Send at most {BATCH_MAX} readings at once.", status=413
        )
    for number, reading in enumerate(readings, start=1):
        problems = check_reading(reading)
        if not problems and reading.at > at + CLOCK_AHEAD_MAX:
            problems = [f"the time {_local(reading.at)} lies in the future: check the clock"]
        if problems:
            raise WareRefusal(
                "reading_impossible",
                f"Reading {number}: {problems[0]}. Nothing was stored.",
                status=400,
                field="at" if source == ReadingSource.HAND else None,
                reading=number,
            )
    seen: set[datetime] = set()
    for number, reading in enumerate(readings, start=1):
        if reading.at in seen:
            raise WareRefusal(
                "time_twice",
                f"Reading {number}: {_local(reading.at)} comes twice. Nothing was stored.",
                status=400,
                reading=number,
            )
        seen.add(reading.at)


def _check_window(firing: Firing, readings: Sequence[Moment]) -> None:
    if firing.state not in TAKES_READINGS or firing.started_at is None:
        raise WareRefusal(
            "takes_no_readings",
            f"{firing} is {firing.get_state_display().lower()} and takes no readings.",
        )
    earliest = min(reading.at for reading in readings)
    if earliest < firing.started_at - BEFORE_START_MAX:
        raise WareRefusal(
            "before_the_start",
            f"A reading of {_local(earliest)} lies before the start of this firing "
            f"({_local(firing.started_at)}). Check the time zone of the log; readings of an "
            "earlier firing go in a batch of their own.",
            status=400,
        )


def _check_register(firing: Firing, fresh: Sequence[Moment]) -> None:
    """A meter only runs forward: in the batch, and against its neighbours already stored."""
    metered = [r for r in fresh if r.register_wh is not None]
    if not metered:
        return
    stored = firing.readings.exclude(register_wh=None)
    before = stored.filter(at__lt=metered[0].at).order_by("-at").first()
    after = stored.filter(at__gt=metered[-1].at).order_by("at").first()
    chain = [(r.at, r.register_wh) for r in (before, *metered, after) if r is not None]
    for (_, lower), (moment, higher) in pairwise(chain):
        if higher < lower:  # type: ignore[operator]
            raise WareRefusal(
                "meter_runs_backwards",
                f"The meter register at {_local(moment)} is below the one before it. "
                "Was the meter changed, or are two meters mixed? Nothing was stored.",
                status=400,
            )


def _local(at: datetime) -> str:
    """A moment in the studio's time, which is what people see in a log and on the wall."""
    zone = Studio.current().zone
    return f"{at.astimezone(zone):%-d %b %Y, %H:%M:%S} ({zone.key})"


def _update_summary(firing: Firing, fresh: Sequence[Moment]) -> None:
    """Add a batch that continues the log; rebuild only when it fills in earlier times."""
    summary = FiringSummary.from_json(firing.log_summary)
    if summary.last_at is None or fresh[0].at > summary.last_at:
        last = Moment(summary.last_at, summary.last_temp_c or 0.0) if summary.last_at else None
        summary = add_readings(summary, last, fresh)
    else:
        summary = summarise(moments_of(firing))
    firing.log_summary = summary.to_json()
    firing.log_count = summary.readings_count
    firing.log_last_at = summary.last_at
    firing.log_last_c = summary.last_temp_c
    firing.log_peak_c = summary.peak_c
