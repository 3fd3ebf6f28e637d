"""A firing's summary and the short form of its log, brought up to date with each batch.

A batch that goes on where the log ended is added to the summary. Readings for earlier times start
over from the last summary kept before them: one is kept about every 5,000 readings. Nothing here
reads a log from its first reading, but for a summary that an earlier version wrote.
"""

from __future__ import annotations

import json
from datetime import datetime
from typing import Any

from django.db import connection

from firings.actions.log_rows import log_parts
from firings.calculations.firing_summary import VERSION, FiringSummary, add_columns
from firings.calculations.log_stretches import (
    columns_of_points,
    merged,
    points_by_stretch,
    shape_of,
    width_us,
)
from firings.calculations.reading_columns import ReadingColumns, moment_of, us_of
from firings.models import Firing, KeptSummary, LogStretch

KEPT_EVERY_READINGS = 5_000


def take_into_summary(firing: Firing, fresh: ReadingColumns) -> None:
    """Bring summary and short log up to date with rows just written. The caller holds and saves."""
    before = FiringSummary.from_json(firing.log_summary)
    if before.readings_count and before.version < VERSION:
        _write_anew(firing)
        return
    first_at = moment_of(fresh.at_us[0])
    if before.last_at is None or first_at > before.last_at:
        after = add_columns(before, fresh)
        _keep_now_and_then(firing, before, after)
    else:
        after = _start_over(firing, first_at)
    _set(firing, after)
    _take_into_stretches(firing, before, after, fresh)


def summary_of(firing: Firing) -> FiringSummary:
    """The summary of a firing's log; worked out for the page where an earlier version wrote it."""
    summary = FiringSummary.from_json(firing.log_summary)
    if summary.readings_count and summary.version < VERSION:
        summary = FiringSummary()
        for part in log_parts(firing):
            summary = add_columns(summary, part)
    return summary


def short_log(firing: Firing) -> ReadingColumns:
    """The readings that show the shape of a firing's log: some thousand at most, in order."""
    summary = FiringSummary.from_json(firing.log_summary)
    if summary.readings_count and summary.version < VERSION:
        return _shape_of_whole(firing, summary)
    rows = firing.log_stretches.order_by("starts_at").values_list("points", flat=True)
    return columns_of_points(list(rows))


def _shape_of_whole(firing: Firing, summary: FiringSummary) -> ReadingColumns:
    shape = ReadingColumns.of([])
    width = _width(summary)
    for part in log_parts(firing):
        shape = merged(shape, part, width)
    return shape


def _write_anew(firing: Firing) -> None:
    """What an earlier version summarised is summarised once more, from the log itself."""
    firing.kept_summaries.all().delete()
    _set(firing, _add_from(firing, FiringSummary(), None))
    firing.log_stretches.all().delete()
    summary = FiringSummary.from_json(firing.log_summary)
    _write_stretches(firing, _shape_of_whole(firing, summary), _width(summary))


def _start_over(firing: Firing, first_at: datetime) -> FiringSummary:
    """Readings came for times that are summarised: what was kept after them is void."""
    firing.kept_summaries.filter(at__gte=first_at).delete()
    kept = firing.kept_summaries.order_by("-at").first()
    if kept is None:
        return _add_from(firing, FiringSummary(), None)
    return _add_from(firing, FiringSummary.from_json(kept.summary), kept.at)


def _add_from(firing: Firing, summary: FiringSummary, after: datetime | None) -> FiringSummary:
    for part in log_parts(firing, after):
        before, summary = summary, add_columns(summary, part)
        _keep_now_and_then(firing, before, summary)
    return summary


def _keep_now_and_then(firing: Firing, before: FiringSummary, after: FiringSummary) -> None:
    """Keep the summary when its count passes a multiple of 5,000."""
    passed = after.readings_count // KEPT_EVERY_READINGS
    if passed > before.readings_count // KEPT_EVERY_READINGS and after.last_at is not None:
        KeptSummary.objects.create(firing=firing, at=after.last_at, summary=after.to_json())


def _set(firing: Firing, summary: FiringSummary) -> None:
    firing.log_summary = summary.to_json()
    firing.log_count = summary.readings_count
    firing.log_last_at = summary.last_at
    firing.log_last_c = summary.last_temp_c
    firing.log_peak_c = summary.peak_c


def _width(summary: FiringSummary) -> int:
    if summary.first_at is None or summary.last_at is None:
        return width_us(0, 0)
    return width_us(us_of(summary.first_at), us_of(summary.last_at))


def _take_into_stretches(
    firing: Firing, before: FiringSummary, after: FiringSummary, fresh: ReadingColumns
) -> None:
    """Add readings to the stretches they fall into; a longer log has wider ones."""
    width = _width(after)
    stretches = firing.log_stretches.all()
    if width == _width(before):
        start_us = int(fresh.at_us[0]) // width * width
        stretches = stretches.filter(
            starts_at__range=(moment_of(start_us), moment_of(fresh.at_us[-1]))
        )
    kept = columns_of_points(list(stretches.values_list("points", flat=True)))
    if width != _width(before):
        stretches.delete()
    # Only the shape of the batch is joined with what was kept: the same in the end, and short.
    _write_stretches(firing, merged(kept, shape_of(fresh, width), width), width)


def _write_stretches(firing: Firing, shape: ReadingColumns, width: int) -> None:
    rows = [
        (firing.pk, *_stored(start_us, points))
        for start_us, points in points_by_stretch(shape, width).items()
    ]
    with connection.cursor() as cursor:
        cursor.executemany(_PUT_STRETCH.format(table=LogStretch._meta.db_table), rows)


_PUT_STRETCH = """
    INSERT INTO {table} (firing_id, starts_at, points) VALUES (%s, %s, %s)
    ON CONFLICT (firing_id, starts_at) DO UPDATE SET points = excluded.points
"""


def _stored(start_us: int, points: list[list[Any]]) -> tuple[Any, str]:
    """A stretch's start and points as the database takes them, on SQLite and PostgreSQL."""
    starts_at = connection.ops.adapt_datetimefield_value(moment_of(start_us))
    return starts_at, json.dumps(points)
