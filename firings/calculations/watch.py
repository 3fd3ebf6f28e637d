"""The watch over a firing: signs in its readings begin, are told once, and are over.

It is carried along batch by batch and never reads a log again: each reading costs the same,
however long the log is. Readings older than the last one seen say nothing of now and are left out.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from firings.calculations.readings import GAP_MAX, Reading
from firings.calculations.watch_limits import Limits
from firings.calculations.watch_plan import CLASS_C, WatchPlan
from firings.calculations.watch_signs import (
    COVERS,
    HOLD_SHARE,
    SIGNS,
    WHILE_HEATING,
    Evidence,
    Kind,
)
from firings.calculations.watch_state import POINT_S, WINDOW_S, Episode, Point, WatchState
from firings.calculations.watch_view import HOLD_BAND_C, View, view_of

EVALUATE_S = 60.0
# A logger that was silent for longer than this, and for three of its intervals, had a gap.
GAP_S = 10 * 60.0
# Full power lifts a studio kiln by less, and an open lid lets a bare thermocouple fall by more.
# Common practice, no source.
JUMPS_UP_C_PER_S, JUMPS_DOWN_C_PER_S = 1.0, 4.0
JUMP_UP_MIN_C, JUMP_DOWN_MIN_C = 60.0, 150.0
JUMP_WITHIN_S = 180.0
FIRST_CLASS_C = 200
POST_GAPS_KEPT = 7
NO_READING_YET_S = 60 * 60.0


@dataclass(frozen=True)
class WatchEvent:
    """Something began, or is over. `evidence` is what was measured, as plain numbers."""

    kind: Kind
    at: datetime
    is_over: bool
    evidence: Evidence


def watch_readings(
    state: WatchState,
    readings: Sequence[Reading],
    plan: WatchPlan,
    limits: Limits,
    *,
    is_firing: bool,
) -> list[WatchEvent]:
    """Take readings into `state`, in order of time, and return what began or is over.

    is_firing: the programme runs, as far as anybody knows; False while the kiln cools. Costs
    O(readings): the state holds the last 100 minutes as points of 2 minutes or more.
    Raises ValueError for a reading without a time zone.
    """
    events: list[WatchEvent] = []
    for reading in readings:
        if reading.at.utcoffset() is None:
            raise ValueError(f"reading at {reading.at.isoformat()} has no time zone")
        now_s = reading.at.timestamp()
        if state.last_s is not None and now_s <= state.last_s:
            continue
        _take_in(state, reading, now_s, plan)
        if now_s - state.evaluated_s >= EVALUATE_S:
            _follow(state, plan, limits, now_s)
            view = view_of(
                state,
                plan,
                limits,
                is_firing=is_firing,
                room_c=reading.room_c,
                control_box_c=reading.control_box_c,
            )
            events += _look(view)
            state.evaluated_s = now_s
    return events


def note_post(state: WatchState, received_s: float) -> None:
    """A batch came in: remember how often batches come, which is what silence is measured by."""
    if state.posted_s is not None and received_s > state.posted_s:
        state.post_gaps_s = [*state.post_gaps_s, received_s - state.posted_s][-POST_GAPS_KEPT:]
    state.posted_s = max(received_s, state.posted_s or 0.0)


def silent_for_s(state: WatchState, now_s: float, limits: Limits) -> float | None:
    """How long nothing has come in, when that is too long; None when it is not.

    Too long is the limit, or three times what this logger takes between its batches and its
    readings; before its first reading an hour. A logger that sends once an hour is not gone.
    """
    if state.posted_s is None:
        silent_s = now_s - state.started_s
        return silent_s if silent_s > max(NO_READING_YET_S, limits.no_data_minutes * 60) else None
    usual_s = sorted(state.post_gaps_s)[len(state.post_gaps_s) // 2] if state.post_gaps_s else 0.0
    silent_s = now_s - state.posted_s
    allowed_s = max(limits.no_data_minutes * 60, 3 * usual_s, 3 * (state.interval_s or 0.0))
    return silent_s if silent_s > allowed_s else None


def _take_in(state: WatchState, reading: Reading, now_s: float, plan: WatchPlan) -> None:
    if state.last_s is not None and state.last_c is not None:
        step_s = now_s - state.last_s
        _note_gap(state, now_s, step_s)
        _note_jump(state, reading.temp_c, now_s, step_s)
        usual_s = state.interval_s or step_s
        state.interval_s = usual_s + 0.2 * (min(step_s, 3 * usual_s) - usual_s)
    if reading.temp_c != state.last_c:
        state.same_since_s = now_s
    state.last_s, state.last_c = now_s, reading.temp_c
    if reading.set_point_c is not None:
        state.had_set_point, state.set_point_gone_s = True, None
    elif state.had_set_point and state.set_point_gone_s is None:
        state.set_point_gone_s = now_s
    _add_point(state, reading, now_s, plan.rated_power_w)


def _note_gap(state: WatchState, now_s: float, step_s: float) -> None:
    usual_s = state.interval_s or step_s
    if step_s > max(GAP_S, 3 * usual_s) or step_s > GAP_MAX.total_seconds():
        state.before_gap_c, state.gap_ended_s = state.last_c, now_s


def _note_jump(state: WatchState, temp_c: float, now_s: float, step_s: float) -> None:
    change_c = temp_c - (state.last_c or 0.0)
    is_up = change_c > max(JUMP_UP_MIN_C, JUMPS_UP_C_PER_S * step_s)
    is_down = -change_c > max(JUMP_DOWN_MIN_C, JUMPS_DOWN_C_PER_S * step_s)
    if step_s <= JUMP_WITHIN_S and (is_up or is_down):
        state.jump_s, state.jump_c = now_s, change_c


def _add_point(state: WatchState, reading: Reading, now_s: float, rated_power_w: float) -> None:
    power_w = reading.power_w
    draw = power_w / rated_power_w if power_w is not None else None
    zones = [c for c in (reading.zone2_c, reading.zone3_c) if c is not None]
    spread_c = max(abs(c - reading.temp_c) for c in zones) if zones else None
    points = state.points
    if points and now_s - points[-1].started_s < POINT_S:
        last = points[-1]
        last.count += 1
        last.temp_c += (reading.temp_c - last.temp_c) / last.count
        last.duty = _blend(last.duty, reading.duty, last.count)
        last.draw = _blend(last.draw, draw, last.count)
        last.set_point_c, last.at_s, last.spread_c = reading.set_point_c, now_s, spread_c
        return
    points.append(
        Point(now_s, now_s, 1, reading.temp_c, reading.set_point_c, reading.duty, draw, spread_c)
    )
    while points[0].at_s < now_s - WINDOW_S:
        del points[0]


def _blend(mean: float | None, value: float | None, count: int) -> float | None:
    if value is None or mean is None:
        return value if mean is None else mean
    return mean + (value - mean) / count


def _follow(state: WatchState, plan: WatchPlan, limits: Limits, now_s: float) -> None:
    """Where the firing is: peak, classes reached, ramp or hold of its schedule, its top."""
    temp_c = state.points[-1].temp_c
    if state.ramp_from_c is None:
        state.ramp_from_c = temp_c
    if state.peak_c is None or temp_c > state.peak_c:
        state.peak_c, state.peak_s = temp_c, now_s
        reached_c = int(temp_c // CLASS_C) * CLASS_C
        for class_c in range(FIRST_CLASS_C, reached_c + 1, CLASS_C):
            state.crossings.setdefault(class_c, now_s - state.started_s)
    if temp_c >= plan.top_c - plan.top_slack_c - limits.top_margin_c and not state.has_reached_top:
        state.has_reached_top, state.top_reached_s = True, now_s
    _follow_ramps(state, plan, temp_c, now_s)


def _follow_ramps(state: WatchState, plan: WatchPlan, temp_c: float, now_s: float) -> None:
    while state.ramp < len(plan.ramps):
        ramp = plan.ramps[state.ramp]
        is_down = state.ramp > 0 and ramp.target_c < plan.ramps[state.ramp - 1].target_c
        is_there = temp_c <= ramp.target_c + HOLD_BAND_C if is_down else (
            temp_c >= ramp.target_c - HOLD_BAND_C
        )  # fmt: skip
        if state.hold_since_s is None and is_there:
            state.hold_since_s = now_s
        if state.hold_since_s is None:
            return
        # A controller may wait for its kiln before it counts a hold: some time is allowed.
        held_s = now_s - state.hold_since_s
        is_held = held_s >= ramp.hold_minutes * 60 * 1.25 + 20 * 60
        has_left = not is_down and temp_c > ramp.target_c + 2 * HOLD_BAND_C
        if not is_held and not (has_left and held_s >= HOLD_SHARE * ramp.hold_minutes * 60):
            return
        state.ramp += 1
        state.hold_since_s, state.ramp_since_s, state.ramp_from_c = None, now_s, temp_c


def _look(view: View) -> list[WatchEvent]:
    """Follow each sign's episode: it begins after it held for long enough, and ends calmly."""
    episodes = view.state.episodes
    open_kinds = {kind for kind, episode in episodes.items() if episode.is_open}
    covered = {kind for open_kind in open_kinds for kind in COVERS.get(open_kind, ())}  # type: ignore[call-overload]
    events = []
    for kind, sign in SIGNS.items():
        episode = episodes.get(kind)
        is_open = episode is not None and episode.is_open
        if kind in covered and not is_open:
            episodes.pop(kind, None)
            continue
        evidence = sign.look(view, is_open)
        if evidence is None:
            if episode is not None and (not is_open or _is_calm(episode, view, sign.calm_s)):
                del episodes[kind]
                if is_open:
                    events.append(_event(view, kind, True, {"temp_c": view.temp_c}))
                    _begin_ramp_anew(view, kind)
            continue
        if episode is None:
            episode = episodes[kind] = Episode(view.now_s)
        episode.calm_s = None
        if not is_open and view.now_s - episode.since_s >= sign.after_s(view):
            episode.is_open = True
            covered.update(COVERS.get(kind, ()))
            events.append(_event(view, kind, False, evidence))
    return events


def _begin_ramp_anew(view: View, kind: Kind) -> None:
    """After a time without heat the kiln is late through no fault of what heats it now."""
    if kind in ("power_lost", "stuck_off", "falling"):
        view.state.ramp_since_s, view.state.ramp_from_c = view.now_s, view.temp_c
        view.state.before_gap_c = None


def _is_calm(episode: Episode, view: View, calm_s: float) -> bool:
    if episode.calm_s is None:
        episode.calm_s = view.now_s
    return view.now_s - episode.calm_s >= calm_s


def _event(view: View, kind: Kind, is_over: bool, evidence: Evidence) -> WatchEvent:
    rounded = {name: round(value, 2) for name, value in evidence.items()}
    return WatchEvent(kind, datetime.fromtimestamp(view.now_s, UTC), is_over, rounded)


def end_heating_signs(state: WatchState) -> None:
    """Forget what only a kiln that should rise can do: another turn has begun."""
    for kind in WHILE_HEATING:
        state.episodes.pop(kind, None)
