"""A utility's interval data of a kiln's own meter are taken in, whole or not at all."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from firings.actions.kiln_state import held_kiln
from firings.calculations.energy import INTERVAL_METER, energy_from_intervals
from firings.calculations.energy_reconciled import disagreements, estimate_of_record
from firings.calculations.green_button import MAX_METER_FILE_BYTES, read_green_button
from firings.calculations.log_lines import LogFileError
from firings.calculations.meter_series import MeteredInterval, MeterSeries
from firings.models import Firing, FiringState, Kiln, MeterFile, MeterInterval
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role, Studio

GAPS_TOLD_AT_MOST = 5


@dataclass(frozen=True)
class TakenIn:
    """A file that was taken in, and how many intervals it said anew."""

    file: MeterFile
    replaced: int


def take_in_meter_file(
    *,
    by: Person,
    at: datetime,
    kiln: Kiln,
    content: bytes,
    file_name: str,
    measures_this_kiln_alone: bool,
    meter: str = "",
) -> TakenIn:
    """Take in a Green Button file of a meter that measures this kiln and nothing else.

    `meter` names one of the meters in the file; it may be left empty when there is only one. What
    the file says of a time that an earlier one spoke of replaces it. Firings that are closed keep
    the energy they were priced by; where the meter disagrees with one, a remark says so.
    """
    require_role(by, Role.CREW, Role.MANAGER)
    if not measures_this_kiln_alone:
        raise WareRefusal(
            "meter_not_alone",
            "Only a meter that measures this kiln alone tells what its firings used. The meter of "
            "the whole studio belongs to the electricity bill.",
            field="measures_this_kiln_alone",
        )
    series = _chosen(_read(content), meter)
    digest = hashlib.sha256(content).hexdigest()
    with transaction.atomic(durable=True):
        kiln = held_kiln(kiln.pk)
        name = series.name[:120]
        if kiln.meter_files.filter(content_hash=digest, meter_name=name).exists():
            raise WareRefusal(
                "meter_file_known", f"{file_name} was taken in for {kiln} already.", field="content"
            )
        replaced, _ = kiln.meter_intervals.filter(
            start_at__lt=series.end_at, end_at__gt=series.start_at
        ).delete()
        file = MeterFile.objects.create(
            kiln=kiln,
            file_name=file_name[:120],
            meter_name=name,
            content_hash=digest,
            start_at=series.start_at,
            end_at=series.end_at,
            intervals_count=len(series.intervals),
            energy_wh=series.energy_wh,
            cost=series.cost,
            currency=series.currency or "",
            remarks=[*_remarks(series), *_disagreeing_firings(kiln, series)],
            taken_in_at=at,
            taken_in_by=by,
        )
        _write_intervals(file, series.intervals)
        record_deed(
            kiln, "meter data taken in", by=by, at=at, file=file.file_name, replaced=replaced
        )
    return TakenIn(file, replaced)


def intervals_of(kiln: Kiln, start_at: datetime, end_at: datetime) -> list[MeteredInterval]:
    """What the utility's meter says of a kiln in a span, in order of time."""
    rows = kiln.meter_intervals.filter(start_at__lt=end_at, end_at__gt=start_at)
    return [
        MeteredInterval(row.start_at, row.end_at, row.energy_wh, None, row.quality, 0)
        for row in rows.order_by("start_at")
    ]


def _read(content: bytes) -> tuple[MeterSeries, ...]:
    if len(content) > MAX_METER_FILE_BYTES:
        limit_mb = MAX_METER_FILE_BYTES // (1024 * 1024)
        raise WareRefusal(
            "meter_file_too_large",
            f"A file of meter data has at most {limit_mb} MB. Ask the utility for a shorter time.",
            field="content",
            status=413,
        )
    try:
        return read_green_button(content)
    except LogFileError as error:
        raise WareRefusal(
            "meter_file_unreadable",
            " ".join(error.messages),
            field="content",
            status=400,
            lines=[[line, message] for line, message in error.faults],
        ) from error


def _chosen(found: Sequence[MeterSeries], meter: str) -> MeterSeries:
    named = [series for series in found if series.name == meter] if meter else list(found)
    if len(named) == 1:
        return named[0]
    names = ", ".join(series.name for series in found)
    raise WareRefusal(
        "which_meter",
        f"The file holds {len(found)} meters: {names}. Say which one measures this kiln."
        if not meter
        else f"The file holds {len(named) or 'no'} meters called {meter}. It holds: {names}.",
        field="meter",
    )


def _remarks(series: MeterSeries) -> list[str]:
    """What a person should know of the file before trusting it."""
    told = [*series.warnings, *(f"{words}." for words in series.quality_words())]
    zone = Studio.current().zone
    for start_at, end_at in series.gaps[:GAPS_TOLD_AT_MOST]:
        told.append(
            f"Nothing from {start_at.astimezone(zone):%Y-%m-%d %H:%M} "
            f"to {end_at.astimezone(zone):%Y-%m-%d %H:%M}."
        )
    if len(series.gaps) > GAPS_TOLD_AT_MOST:
        told.append(f"And {len(series.gaps) - GAPS_TOLD_AT_MOST} more gaps.")
    local = series.start_at.astimezone(zone)
    standard = (local.utcoffset() or timedelta(0)) - (local.dst() or timedelta(0))
    if series.utc_offset_s is not None and standard.total_seconds() != series.utc_offset_s:
        told.append(
            f"The meter's clock stands {series.utc_offset_s / 3600:+g} h from UTC, the studio's "
            f"{standard.total_seconds() / 3600:+g} h: is this the right meter?"
        )
    return told


def _write_intervals(file: MeterFile, intervals: Sequence[MeteredInterval]) -> None:
    MeterInterval.objects.bulk_create(
        [
            MeterInterval(
                kiln=file.kiln,
                file=file,
                start_at=interval.start_at,
                end_at=interval.end_at,
                energy_wh=interval.energy_wh,
                quality=interval.quality,
            )
            for interval in intervals
        ],
        batch_size=1000,
    )


def _disagreeing_firings(kiln: Kiln, series: MeterSeries) -> list[str]:
    """Firings closed in the file's time whose energy the meter contradicts."""
    closed = Firing.objects.filter(
        kiln=kiln,
        state=FiringState.CLOSED,
        started_at__gte=series.start_at,
        opened_at__lte=series.end_at,
    )
    told = []
    for firing in closed.order_by("started_at"):
        recorded = estimate_of_record(
            firing.energy_wh, firing.energy_uncertainty_wh, firing.energy_source
        )
        if recorded is None or recorded.source == INTERVAL_METER:
            continue
        if firing.started_at is None or firing.opened_at is None:
            continue
        metered = energy_from_intervals(
            series.intervals,
            firing.started_at,
            firing.opened_at,
            float(kiln.meter_class_percent),
        )
        if disagreements([recorded, metered]):
            told.append(
                f"{firing} is recorded with {recorded.energy_wh / 1000:.1f} kWh; this meter says "
                f"{metered.energy_wh / 1000:.1f} kWh, which is further apart than both can err."
            )
    return told
