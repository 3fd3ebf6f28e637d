"""What the chart of a firing shows: its own log, what may come, and what was before."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from firings.actions.cooling_habits import forecast_of, schedule_of
from firings.actions.log_summary import short_log
from firings.calculations.cooling import BandPoint, forecast_band
from firings.calculations.firing_chart import StageBand, stage_bands
from firings.calculations.firing_stages import COOLS_BELOW_PEAK_C
from firings.calculations.firing_summary import FiringSummary
from firings.calculations.log_stretches import thinned
from firings.calculations.reading_columns import ReadingColumns, us_of
from firings.models import STAFF, Alarm, Firing, FiringPolicy, FiringState
from studio.models import Person

POINTS_USUAL = 600
BAND_POINTS = 80
EARLIER_MAX = 5
EARLIER_POINTS = 120
# So many firings of the kiln are looked through for ones of the same schedule.
LOOKED_THROUGH = 20
WHOLE = (FiringState.OPENED, FiringState.CLOSED)
SHOWN = ("temp_c", "zone2_c", "zone3_c", "set_point_c")


@dataclass(frozen=True)
class EarlierCurve:
    """A firing like this one, by time since its own start."""

    firing: Firing
    readings: ReadingColumns


@dataclass(frozen=True)
class FiringChart:
    """All that a firing's chart shows. Times are aware, temperatures C.

    `is_whole` is False when only readings after a moment were asked for: then earlier firings,
    which do not change, are left out too.
    """

    firing: Firing
    at: datetime
    is_whole: bool
    readings: ReadingColumns
    stages: tuple[StageBand, ...]
    band: tuple[BandPoint, ...]
    limit_c: float
    alarms: tuple[Alarm, ...]
    earlier: tuple[EarlierCurve, ...]


def chart_of(
    firing: Firing,
    *,
    reader: Person,
    at: datetime,
    since: datetime | None = None,
    points_max: int = POINTS_USUAL,
) -> FiringChart:
    """The chart as `reader` may see it; for who may read the firing's log.

    Alarms are for crew and staff. Earlier firings are those whose logs the reader may read.
    """
    shown = short_log(firing)
    if since is not None:
        shown = shown.pick(shown.at_us > us_of(since))
    alarms = firing.alarms.order_by("raised_at", "pk") if reader.has_role(*STAFF) else ()
    forecast = forecast_of(firing, at)
    return FiringChart(
        firing=firing,
        at=at,
        is_whole=since is None,
        readings=thinned(_shown_columns(shown), points_max),
        stages=_stages(firing),
        band=tuple(forecast_band(forecast, BAND_POINTS)) if forecast else (),
        limit_c=FiringPolicy.current().opening_limit_c,
        alarms=tuple(alarms),
        earlier=_earlier(firing, reader, at) if since is None else (),
    )


def _stages(firing: Firing) -> tuple[StageBand, ...]:
    """Up to the peak once the kiln is past it, else up to what is aimed at."""
    summary = FiringSummary.from_json(firing.log_summary)
    started_at = firing.started_at or firing.planned_for
    peak_c, peak_at, last_c = summary.peak_c, summary.peak_at, summary.last_temp_c
    if firing.state == FiringState.FIRING or peak_c is None or peak_at is None or last_c is None:
        aimed_c = max(one.target_c for one in schedule_of(firing))
        return stage_bands(started_at, max(aimed_c, peak_c or aimed_c), None)
    is_past = last_c < peak_c - COOLS_BELOW_PEAK_C
    return stage_bands(started_at, peak_c, max(peak_at, started_at) if is_past else None)


def _shown_columns(readings: ReadingColumns) -> ReadingColumns:
    kept = {name: readings.values[name] for name in SHOWN if name in readings.values}
    return ReadingColumns(readings.at_us, kept)


def _earlier(firing: Firing, reader: Person, at: datetime) -> tuple[EarlierCurve, ...]:
    """The latest firings of the same schedule, cone and kiln that ended well, latest first."""
    alike = (
        Firing.objects.readable_by(reader)
        .filter(
            kiln_id=firing.kiln_id,
            cone=firing.cone,
            stage=firing.stage,
            state__in=WHOLE,
            started_at__lt=firing.started_at or at,
            log_count__gt=1,
            is_empty_first_firing=firing.is_empty_first_firing,
        )
        .order_by("-started_at")[:LOOKED_THROUGH]
    )
    same = [one for one in alike if one.schedule == firing.schedule][:EARLIER_MAX]
    return tuple(EarlierCurve(one, _thin_curve(short_log(one))) for one in same)


def _thin_curve(readings: ReadingColumns) -> ReadingColumns:
    only = ReadingColumns(readings.at_us, {"temp_c": readings.values["temp_c"]})
    return thinned(only.pick(~np.isnan(only.values["temp_c"])), EARLIER_POINTS)
