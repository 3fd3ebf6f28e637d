"""The watch over a hot kiln: what readings, or their absence, raise and clear."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import fields as fields_of
from datetime import datetime
from typing import Any

from django.db import transaction

from firings.actions.alarms import clear_alarms, raise_alarm, tell_of_alarm
from firings.actions.kiln_state import held_kiln
from firings.actions.plan_firing import locked_firing
from firings.calculations.firing_summary import FiringSummary
from firings.calculations.readings import Reading as Moment
from firings.calculations.watch import (
    end_heating_signs,
    note_post,
    silent_for_s,
    watch_readings,
)
from firings.calculations.watch_limits import Limits
from firings.calculations.watch_plan import WatchPlan, plan_of
from firings.calculations.watch_state import WatchState, crossings_of
from firings.models import (
    Alarm,
    AlarmKind,
    Firing,
    FiringPolicy,
    FiringState,
    Kiln,
    ReadingSource,
    Result,
    WatchLimits,
)
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

WATCHED = (FiringState.FIRING, FiringState.COOLING, FiringState.COOLED, FiringState.ABORTED)
PAST_FIRINGS = 10
# A kiln that was hotter than its opening limit by this much and is down at it has fired.
COLD_AGAIN_C = 200.0
# What a manager may set. Outside it the watch would cry at every firing, or never.
LIMIT_RANGES: dict[str, tuple[float, float]] = {
    "stall_percent": (10, 95),
    "stall_minutes": (15, 240),
    "off_set_point_c": (5, 300),
    "off_set_point_minutes": (5, 240),
    "overshoot_c": (5, 150),
    "fall_c": (5, 200),
    "no_data_minutes": (5, 720),
    "late_percent": (5, 300),
    "top_margin_c": (5, 150),
    "zone_spread_c": (5, 300),
    "room_limit_c": (20, 60),
    "control_box_limit_c": (30, 100),
}
MAY_BE_EMPTY = ("room_limit_c", "control_box_limit_c")


def watch_firing(firing: Firing, fresh: Sequence[Moment], *, source: str, at: datetime) -> None:
    """Take new readings into a firing's watch. The caller holds the firing and saves it.

    Costs the batch, not the log. Readings that come in after the kiln was opened raise nothing;
    they still say how fast this kiln climbs. Crew get one letter for each alarm that is open when
    the batch has been read.
    """
    state, plan = watch_of(firing), plan_for(firing)
    events = watch_readings(
        state,
        fresh,
        plan,
        limits_of(firing.kiln),
        is_firing=firing.state == FiringState.FIRING,
    )
    if source == ReadingSource.LOGGER:
        note_post(state, at.timestamp())
    firing.watch_state, firing.watch_plan = state.to_json(), plan.to_json()
    if firing.state not in WATCHED:
        return
    raised: dict[str, Alarm] = {}
    if source == ReadingSource.LOGGER:
        clear_alarms(firing, at=at, kinds=[AlarmKind.NO_DATA])
    for event in events:
        if event.is_over:
            raised.pop(event.kind, None)
            clear_alarms(firing, at=event.at, kinds=[event.kind])
        else:
            raised[event.kind] = raise_alarm(
                firing, event.kind, raised_at=event.at, evidence=event.evidence
            )
    for alarm in raised.values():
        tell_of_alarm(alarm, at=at)


def watch_silence(*, at: datetime) -> int:
    """Ask by the clock which hot kilns have fallen silent; answers how many alarms it raised.

    Only a kiln whose logger has sent something in this firing, or that has a logger's key, can
    fall silent: where people read the pyrometer, nobody expects a reading at night.
    """
    raised = 0
    for firing in Firing.objects.running().filter(started_at__lte=at):
        with transaction.atomic(durable=True):
            raised += _raise_silence(locked_firing(firing), at)
    return raised


def _raise_silence(firing: Firing, at: datetime) -> int:
    if firing.state not in (FiringState.FIRING, FiringState.COOLING):
        return 0
    state = watch_of(firing)
    if state.posted_s is None and not firing.kiln.tokens.filter(revoked_at=None).exists():
        return 0
    silent_s = silent_for_s(state, at.timestamp(), limits_of(firing.kiln))
    is_open = Alarm.objects.open().filter(firing=firing, kind=AlarmKind.NO_DATA).exists()
    if silent_s is None or is_open:
        return 0
    evidence = {"minutes": round(silent_s / 60, 1)}
    if firing.log_last_c is not None:
        evidence["temp_c"] = firing.log_last_c
    alarm = raise_alarm(firing, AlarmKind.NO_DATA, raised_at=at, evidence=evidence)
    tell_of_alarm(alarm, at=at)
    return 1


def watch_of(firing: Firing) -> WatchState:
    """The watch of a firing as its last batch left it."""
    if firing.watch_state:
        return WatchState.from_json(firing.watch_state)
    started_s = firing.started_at.timestamp() if firing.started_at else 0.0
    return WatchState(started_s=started_s, ramp_since_s=started_s)


def plan_for(firing: Firing) -> WatchPlan:
    """What the firing is meant to do; worked out once, when its first readings come in."""
    if firing.watch_plan:
        return WatchPlan.from_json(firing.watch_plan)
    kiln = firing.kiln
    past = Firing.objects.filter(
        kiln=kiln,
        state=FiringState.CLOSED,
        result__in=[Result.REACHED, Result.OVER],
        stage=firing.stage,
        cone=firing.cone,
        is_kiln_fault=False,
    ).order_by("-started_at")[: 2 * PAST_FIRINGS]
    crossings = [crossings_of(one.watch_state) for one in past if one.schedule == firing.schedule]
    return plan_of(
        firing.schedule,
        firing.cone,
        kiln.cone_limit,
        kiln.rated_power_w,
        [one for one in crossings if one][:PAST_FIRINGS],
    )


def limits_of(kiln: Kiln) -> Limits:
    """The thresholds of a kiln: its own, else the defaults; room and box else the studio's."""
    own = WatchLimits.objects.filter(kiln=kiln).first() or WatchLimits(kiln=kiln)
    policy = FiringPolicy.current().limits_around_kiln_c
    values = {one.name: getattr(own, one.name) for one in fields_of(Limits)}
    for name in MAY_BE_EMPTY:
        values[name] = policy[name] if values[name] is None else values[name]
    return Limits(**values)


def has_turned_for_good(firing: Firing, latest_c: Sequence[float], limit_c: float) -> bool:
    """Whether a fall is the end of the firing, and no power cut on its way up.

    It is when the top was reached, or when the kiln is down at its opening limit after it was hot:
    then an alarm has long told of the fall.
    """
    state, plan = watch_of(firing), plan_for(firing)
    peak_c = peak_of(firing) or 0.0
    margin_c = limits_of(firing.kiln).top_margin_c + plan.top_slack_c
    if state.has_reached_top or peak_c >= plan.top_c - margin_c:
        return True
    return max(latest_c) <= limit_c and peak_c >= limit_c + COLD_AGAIN_C


def peak_of(firing: Firing) -> float | None:
    """The highest reading: of the log, or since a person said that the firing goes on."""
    state = watch_of(firing)
    if state.went_on_s is not None:
        return state.peak_c
    return FiringSummary.from_json(firing.log_summary).peak_c


def go_on_watching(firing: Firing) -> None:
    """A person said that the firing goes on. The caller holds the firing and saves it."""
    state = watch_of(firing)
    end_heating_signs(state)
    state.go_on(firing.log_last_c)
    firing.watch_state = state.to_json()


def set_watch_limits(
    *, by: Person, at: datetime, kiln: Kiln, fields: Mapping[str, Any]
) -> WatchLimits:
    """Change when the watch over a kiln speaks, within what can be."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        kiln = held_kiln(kiln.pk)
        limits = WatchLimits.objects.filter(kiln=kiln).first() or WatchLimits(kiln=kiln)
        for name, (low, high) in LIMIT_RANGES.items():
            if name not in fields:
                continue
            value = fields[name]
            if value is None and name in MAY_BE_EMPTY:
                setattr(limits, name, None)
                continue
            if value is None or not low <= value <= high:
                raise WareRefusal(
                    "out_of_range", f"This must lie between {low:g} and {high:g}.", field=name
                )
            setattr(limits, name, value)
        limits.save()
        record_deed(kiln, "watch set", by=by, at=at, fields=sorted(fields))
    return limits
