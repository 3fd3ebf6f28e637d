"""How a kiln cools, as far as its closed firings have taught it; and what to expect of one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime

from firings.actions.log_summary import short_log
from firings.calculations.cones import cone_equivalent_c
from firings.calculations.cooling import Asked, CoolingForecast, forecast_cooling
from firings.calculations.cooling_learning import learn_from_firing
from firings.calculations.cooling_log import READINGS_ENOUGH, ROOM_C_USUAL
from firings.calculations.cooling_plan import PlannedSegment
from firings.calculations.cooling_prior import VERSION, KilnCooling, unknown_kiln
from firings.calculations.reading_columns import ReadingColumns, us_of
from firings.calculations.readings import Reading as Moment
from firings.models import ChamberShape, CoolingHabits, Firing, FiringPolicy, FiringState, Kiln

COLUMNS = (
    "at", "temp_c", "zone2_c", "zone3_c", "set_point_c", "power_w", "duty", "register_wh", "room_c",
)  # fmt: skip
# A log up to this length is read whole.
LOG_SHORT = 5 * READINGS_ENOUGH
# The rate of the last 100 C that a cone's temperature is taken for where no schedule says it.
LAST_RATE_C_PER_H = 60.0
# A round or eight-sided chamber fills this share of the square around it.
FILLS = {ChamberShape.ROUND: math.pi / 4, ChamberShape.OCTAGON: 2 * math.sqrt(2) - 2}


def habits_of(kiln: Kiln) -> KilnCooling:
    """What is known of this kiln; of one without closed firings only what its size tells."""
    record = CoolingHabits.objects.filter(kiln=kiln).first()
    if record is None or record.learned.get("version") != VERSION:
        return unknown_kiln(*_size_of(kiln))
    return KilnCooling.from_json(record.learned)


def learn_cooling_of(firing: Firing, *, at: datetime) -> None:
    """Bring the kiln's habits up to date with a firing that is closed. The caller holds the kiln.

    An empty first firing carries no ware and teaches nothing of loads; neither does a log that
    shows too little of the fall.
    """
    if firing.is_empty_first_firing or firing.started_at is None:
        return
    learned = learn_from_firing(_asked(firing, thinned_moments(firing, until=firing.opened_at)))
    if learned is not None:
        CoolingHabits.objects.update_or_create(
            kiln_id=firing.kiln_id,
            defaults={
                "learned": learned.to_json(),
                "firings_count": learned.firings_count,
                "learned_at": at,
            },
        )


def forecast_of(firing: Firing, at: datetime) -> CoolingForecast | None:
    """When the firing's kiln may be at its opening limit; None when nothing can be said.

    Where nobody logs, the schedule or the cone says how hot it gets.
    """
    if firing.started_at is None or firing.state not in (FiringState.FIRING, FiringState.COOLING):
        return None
    readings = thinned_moments(firing)
    is_assumed = not readings
    return forecast_cooling(_asked(firing, readings or _assumed(firing), is_assumed), at)


def thinned_moments(firing: Firing, *, until: datetime | None = None) -> list[Moment]:
    """Some hundreds of a firing's readings, in order of time; the last is always among them."""
    if firing.log_count > LOG_SHORT:
        return _thinned(short_log(firing), until)
    rows = firing.readings.order_by("at")
    if until is not None:
        rows = rows.filter(at__lte=until)
    return [_moment(row) for row in rows.values_list(*COLUMNS)]


def _thinned(log: ReadingColumns, until: datetime | None) -> list[Moment]:
    """Evenly spaced readings of the short log; no page reads a long one."""
    if until is not None:
        log = log.pick(log.at_us <= us_of(until))
    step = max(1, len(log) // READINGS_ENOUGH)
    return list(log[(len(log) - 1) % step :: step])


def _moment(row: Sequence[object]) -> Moment:
    return Moment(**dict(zip(COLUMNS, row, strict=True)))  # type: ignore[arg-type]


def _asked(firing: Firing, readings: Sequence[Moment], is_assumed: bool = False) -> Asked:
    return Asked(
        kiln=habits_of(firing.kiln),
        readings=readings,
        started_at=firing.started_at or firing.planned_for,
        rated_power_w=float(firing.kiln.rated_power_w),
        limit_c=FiringPolicy.current().opening_limit_c,
        schedule=schedule_of(firing),
        is_over=firing.state != FiringState.FIRING,
        is_assumed=is_assumed,
    )


def _assumed(firing: Firing) -> list[Moment]:
    """One reading that nobody took: cold at the start, or at its top when the fall began."""
    if firing.state == FiringState.FIRING or firing.cooling_at is None:
        return [Moment(firing.started_at or firing.planned_for, ROOM_C_USUAL)]
    return [Moment(firing.cooling_at, max(one.target_c for one in schedule_of(firing)))]


def schedule_of(firing: Firing) -> list[PlannedSegment]:
    """The ramps as written down; else a plain one to the cone's temperature."""
    written = [
        PlannedSegment(one["rate_c_per_h"], one["target_c"], one.get("hold_minutes", 0))
        for one in firing.schedule
    ]
    top_c = cone_equivalent_c(firing.cone, LAST_RATE_C_PER_H)
    return written or [
        PlannedSegment(2 * LAST_RATE_C_PER_H, top_c - 100),
        PlannedSegment(LAST_RATE_C_PER_H, top_c),
    ]


def _size_of(kiln: Kiln) -> tuple[float, float]:
    """Volume in litres and inner surface in m2."""
    across_m, height_m = kiln.chamber_across_mm / 1000, kiln.chamber_height_mm / 1000
    depth_m = (kiln.chamber_depth_mm or kiln.chamber_across_mm) / 1000
    fills = FILLS.get(ChamberShape(kiln.chamber_shape), 1.0)
    floor_m2, around_m = fills * across_m * depth_m, fills * 2 * (across_m + depth_m)
    return 1000 * floor_m2 * height_m, 2 * floor_m2 + around_m * height_m
