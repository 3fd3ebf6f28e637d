"""A kiln's log file is taken in: whole or not at all, piece by piece, in one transaction."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from firings.actions.cool_down import note_fall_and_cool
from firings.actions.plan_firing import locked_firing
from firings.actions.reading_checks import check_window, reading_ahead
from firings.actions.readings import write_readings
from firings.calculations.log_columns import ColumnMapping
from firings.calculations.log_lines import LogFileError, LogSource
from firings.calculations.log_preview import LogPreview
from firings.calculations.log_stream import LogStream
from firings.calculations.reading_columns import ReadingColumns
from firings.models import Firing, Kiln, LogLayout, ReadingSource
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.models import Person, Role, Studio


@dataclass(frozen=True)
class TakenIn:
    """What became of a file: readings that were new and known, and what to know about its times."""

    firing: Firing
    stored: int
    already_known: int
    warnings: tuple[str, ...]


def take_in_log(
    *,
    by: Person,
    at: datetime,
    firing: Firing,
    log: LogSource,
    mapping: ColumnMapping,
    titles: Sequence[str],
    log_started_at: datetime | None = None,
    allow_disorder: bool = False,
) -> TakenIn:
    """Store the readings of a file in a firing, and remember for its kiln how it was read.

    `log` comes in pieces and is read once. Any line that cannot be read refuses the file, with
    every fault found: nothing of it is stored, and the layout is not remembered either.
    """
    require_role(by, Role.CREW)
    zone = Studio.current().zone
    with transaction.atomic(durable=True):
        firing = locked_firing(firing)
        try:
            stream = LogStream(log, mapping, zone, log_started_at, allow_disorder=allow_disorder)
            stored, last = _write_parts(firing, stream, at)
        except LogFileError as error:
            raise unreadable(error) from error
        if last is not None:
            note_fall_and_cool(firing, last, source=ReadingSource.FILE, by=by, at=at)
        firing.save()
        _remember(firing.kiln, mapping, titles, by=by, at=at)
    return TakenIn(firing, stored, stream.count - stored, tuple(stream.warnings))


def _write_parts(
    firing: Firing, stream: LogStream, at: datetime
) -> tuple[int, ReadingColumns | None]:
    """Write a file part by part; how many readings were new, and the last of them."""
    stored, last = 0, None
    for part in stream:
        ahead = reading_ahead(part, at)
        if ahead is not None:
            told = f"{ahead[1][:1].upper()}{ahead[1][1:]}. Nothing was stored."
            raise WareRefusal("reading_impossible", told, status=400)
        check_window(firing, part)
        fresh = write_readings(firing, part, source=ReadingSource.FILE, at=at)
        stored += len(fresh)
        if len(fresh):
            last = fresh[-1:]
    return stored, last


def unreadable(error: LogFileError) -> WareRefusal:
    """The refusal of a file, with a line for each fault."""
    faults = [{"line": line, "message": message} for line, message in error.faults]
    return WareRefusal(
        "log_unreadable", "\n".join(error.messages), status=422, faults=faults, count=error.count
    )


def _remember(
    kiln: Kiln, mapping: ColumnMapping, titles: Sequence[str], *, by: Person, at: datetime
) -> None:
    LogLayout.objects.update_or_create(
        kiln=kiln,
        defaults={
            "layout": mapping.to_json(),
            "titles": list(titles),
            "confirmed_at": at,
            "confirmed_by": by,
        },
    )


def remembered_layout(kiln: Kiln, preview: LogPreview) -> ColumnMapping | None:
    """How the last log of a kiln was read, when this one has the same titles."""
    known = LogLayout.objects.filter(kiln=kiln).first()
    if known is None or known.titles != list(preview.header):
        return None
    return ColumnMapping.from_json(known.layout)


def remembered_delimiter(kiln: Kiln) -> str | None:
    """What parted the columns of the kiln's last log."""
    known = LogLayout.objects.filter(kiln=kiln).first()
    return known.layout["delimiter"] if known else None
