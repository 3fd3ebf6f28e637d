"""What is asked of readings before they are stored: each refusal says which reading, and why."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

import numpy as np

from firings.calculations.reading_columns import (
    Floats,
    Ints,
    ReadingColumns,
    first_impossible,
    moment_of,
    us_of,
)
from firings.calculations.readings import Reading as Moment
from firings.calculations.readings import check_reading
from firings.models import Firing, FiringState, ReadingSource
from firings.refusals import WareRefusal
from studio.models import Studio

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


def empty_batch() -> WareRefusal:
    """The refusal of a batch without readings."""
    return WareRefusal("no_readings", "There are no readings in this batch.", status=400)


def checked_batch(readings: Sequence[Moment], source: str, at: datetime) -> ReadingColumns:
    """Return a batch as columns in order of time, or refuse it whole and name the reading."""
    if not len(readings):
        raise empty_batch()
    if source == ReadingSource.LOGGER and len(readings) > BATCH_MAX:  # a file has its own limit
        raise WareRefusal(
            "batch_too_large", f"Send at most {BATCH_MAX} readings at once.", status=413
        )
    batch = readings if isinstance(readings, ReadingColumns) else _columns_of(readings, source)
    found = first_impossible(batch)
    if found is not None:
        raise _impossible(*found, source)
    too_late = reading_ahead(batch, at)
    if too_late is not None:
        raise _impossible(*too_late, source)
    _check_once_each(batch)
    return batch.in_order()


def reading_ahead(batch: ReadingColumns, at: datetime) -> tuple[int, str] | None:
    """Return where a reading is of a time to come, and words for it."""
    too_late = np.flatnonzero(batch.at_us > us_of(at + CLOCK_AHEAD_MAX))
    if not len(too_late):
        return None
    when = local_words(moment_of(batch.at_us[too_late[0]]))
    return int(too_late[0]), f"the time {when} lies in the future: check the clock"


def _columns_of(readings: Sequence[Moment], source: str) -> ReadingColumns:
    """A person's few readings, each looked at as it is: NaN would pass for nothing in columns."""
    for index, reading in enumerate(readings):
        problems = check_reading(reading)
        if problems:
            raise _impossible(index, problems[0], source)
    return ReadingColumns.of(readings)


def _impossible(index: int, problem: str, source: str) -> WareRefusal:
    return WareRefusal(
        "reading_impossible",
        f"Reading {index + 1}: {problem}. Nothing was stored.",
        status=400,
        field="at" if source == ReadingSource.HAND else None,
        reading=index + 1,
    )


def _check_once_each(batch: ReadingColumns) -> None:
    order = np.argsort(batch.at_us, kind="stable")
    twice = np.flatnonzero(np.diff(batch.at_us[order]) == 0)
    if len(twice):
        index = int(order[twice + 1].min())
        when = local_words(moment_of(batch.at_us[index]))
        raise WareRefusal(
            "time_twice",
            f"Reading {index + 1}: {when} comes twice. Nothing was stored.",
            status=400,
            reading=index + 1,
        )


def check_window(firing: Firing, batch: ReadingColumns) -> None:
    """Refuse a firing that takes no readings, and readings of before its start."""
    if firing.state not in TAKES_READINGS or firing.started_at is None:
        raise WareRefusal(
            "takes_no_readings",
            f"{firing} is {firing.get_state_display().lower()} and takes no readings.",
        )
    earliest = moment_of(batch.at_us[0])
    if earliest < firing.started_at - BEFORE_START_MAX:
        raise WareRefusal(
            "before_the_start",
            f"A reading of {local_words(earliest)} lies before the start of this firing "
            f"({local_words(firing.started_at)}). Check the time zone of the log; readings of an "
            "earlier firing go in a batch of their own.",
            status=400,
        )


def check_register(firing: Firing, fresh: ReadingColumns) -> None:
    """A meter only runs forward: in the batch, and against its neighbours already stored."""
    register_wh = fresh.values.get("register_wh")
    if register_wh is None:
        return
    there = ~np.isnan(register_wh)
    times_us, counts_wh = fresh.at_us[there], register_wh[there]
    fallen = np.flatnonzero(np.diff(counts_wh) < 0)
    if len(fallen):
        raise _runs_backwards(moment_of(times_us[fallen[0] + 1]))
    stored = firing.readings.exclude(register_wh=None)
    first_at, last_at = moment_of(times_us[0]), moment_of(times_us[-1])
    before = stored.filter(at__lt=first_at).order_by("-at").first()
    if before is not None and counts_wh[0] < (before.register_wh or 0):
        raise _runs_backwards(first_at)
    between = stored.filter(at__range=(first_at, last_at)).values_list("at", "register_wh")
    if firing.log_last_at is not None and first_at <= firing.log_last_at and between.exists():
        stored_wh = [(at, float(count or 0)) for at, count in between.order_by("at")]
        _check_interleaved(times_us, counts_wh, stored_wh)
    after = stored.filter(at__gt=last_at).order_by("at").first()
    if after is not None and (after.register_wh or 0) < counts_wh[-1]:
        raise _runs_backwards(after.at)


def _check_interleaved(
    times_us: Ints, counts_wh: Floats, stored: list[tuple[datetime, float]]
) -> None:
    """Late readings stand between stored ones: all of them together must not fall either."""
    all_us = np.concatenate((times_us, [us_of(at) for at, _ in stored]))
    all_wh = np.concatenate((counts_wh, [count for _, count in stored]))
    order = np.argsort(all_us)
    fallen = np.flatnonzero(np.diff(all_wh[order]) < 0)
    if len(fallen):
        raise _runs_backwards(moment_of(all_us[order][fallen[0] + 1]))


def _runs_backwards(at: datetime) -> WareRefusal:
    return WareRefusal(
        "meter_runs_backwards",
        f"The meter register at {local_words(at)} is below the one before it. "
        "Was the meter changed, or are two meters mixed? Nothing was stored.",
        status=400,
    )


def local_words(at: datetime) -> str:
    """A moment in the studio's time, which is what people see in a log and on the wall."""
    zone = Studio.current().zone
    return f"{at.astimezone(zone):%-d %b %Y, %H:%M:%S} ({zone.key})"
