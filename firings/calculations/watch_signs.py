"""The signs the watch looks for. Each answers with its evidence while it holds, else None.

No sign proves a cause: a broken element, a stuck relay, a lid left open and a power cut can look
alike in a temperature. A sign says what was measured; a person finds out why.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal, NamedTuple

from firings.calculations.watch_plan import CLASS_C
from firings.calculations.watch_view import HOLD_BAND_C, View

Kind = Literal[
    "power_lost",
    "stuck_off",
    "falling",
    "stalled",
    "off_set_point",
    "low_power",
    "overshoot",
    "stuck_on",
    "sensor",
    "late",
    "room",
    "control_box",
    "no_data",
]
Evidence = dict[str, float]

# Shares of the rated power, and rates in C per hour. Common practice, no source; tried on
# simulated firings.
NO_DUTY, NO_DRAW, SOME_DRAW, SOME_DUTY = 0.03, 0.03, 0.06, 0.5
FULL_DUTY = 0.85
# Old elements draw a tenth less; one of three broken draws a third less.
DRAWS_SHARE = 0.8
FALLS_C_PER_H, REGAINS_C_PER_H = -15.0, 12.0
RUNS_AWAY_C_PER_H = 25.0
GAP_IS_FRESH_S = 20 * 60.0
SET_POINT_GONE_S, DARK_S = 15 * 60.0, 10 * 60.0
FROZEN_S = 20 * 60.0
FROZEN_EXPECTED_C_PER_H = 40.0
JUMP_SHOWN_S = 15 * 60.0
# How far a ramp may fall behind what its schedule means it to be by now.
FALLS_BEHIND_C, FALLS_BEHIND_SHARE = 35.0, 0.12
# How much longer than it used to a kiln may take over a class of 100 C.
SLOW_IN_CLASS, SLOW_IN_CLASS_S = 1.25, 10 * 60.0
KEEPS_HOT_S = 2.5 * 3600
# No studio kiln keeps its heat better than this without power: share of the difference to the
# room that is lost in an hour. A cooling time constant of 40 h.
COOLS_AT_LEAST_PER_H = 1 / 40
COOLS_SLOWLY_ABOVE_C = 400.0
TOP_GRACE_S = 75 * 60.0
# A hold that ends sooner than after this share of it was left too early.
HOLD_SHARE = 0.7


def power_lost(view: View, is_open: bool) -> Evidence | None:
    """No power while it should climb or hold; or it came back cooler after a silence."""
    if not view.is_heating:
        return None
    if is_open:
        return None if _regains(view) else _fall(view)
    back_c = _came_back_cooler_by_c(view)
    if back_c is not None:
        return {**_fall(view), "was_c": view.state.before_gap_c or 0.0}
    if _is_dark(view):
        return _fall(view)
    if not _has_fallen(view):
        return None
    duty, draw = view.last_duty, view.last_draw
    has_no_power = draw is not None and draw < NO_DRAW and (duty or 0.0) < SOME_DUTY
    has_no_demand = duty is not None and duty < NO_DUTY and (draw or 0.0) < SOME_DRAW
    is_dark = view.set_point_c is None and view.state.had_set_point
    return _fall(view) if has_no_power or has_no_demand or is_dark else None


def stuck_off(view: View, is_open: bool) -> Evidence | None:
    """The controller asks for heat and the kiln draws none."""
    if not view.is_heating or view.draw is None or view.duty is None:
        return None
    if view.duty >= (0.2 if is_open else SOME_DUTY) and view.draw < NO_DRAW:
        return {**_fall(view), "duty": view.duty, "draw": view.draw}
    return None


def falling(view: View, is_open: bool) -> Evidence | None:
    """It falls while it should climb or hold."""
    if not view.is_heating:
        return None
    if is_open:
        return None if _regains(view) else _fall(view)
    if not _has_fallen(view):
        return None
    evidence = _fall(view)
    return evidence if view.duty is None else {**evidence, "duty": view.duty}


def stalled(view: View, is_open: bool) -> Evidence | None:
    """It climbs far more slowly than it should where it is, and no hold explains it."""
    rate, expected = view.slow_rate_c_per_h, view.expected_c_per_h
    if not view.is_heating or rate is None or expected is None:
        return None
    if view.duty is not None and view.duty < FULL_DUTY:
        return None  # it could do more and is not asked to: the programme wants it so
    ramp_s = view.now_s - max(view.state.ramp_since_s, view.state.started_s)
    if ramp_s < view.limits.stall_minutes * 60:
        return None
    evidence = {"temp_c": view.temp_c, "rate_c_per_h": rate, "expected_c_per_h": expected}
    share = view.limits.stall_percent / 100 * (1.2 if is_open else 1.0)
    if rate < share * expected or _is_slow_in_class(view):
        return evidence
    scheduled = view.scheduled_c_per_h
    if scheduled is None or view.state.ramp_from_c is None:
        return None
    meant_c = view.state.ramp_from_c + scheduled * ramp_s / 3600
    climbed_c = view.temp_c - view.state.ramp_from_c
    if meant_c - view.temp_c <= max(FALLS_BEHIND_C, FALLS_BEHIND_SHARE * climbed_c):
        return None
    return {**evidence, "behind_c": meant_c - view.temp_c}


def off_set_point(view: View, is_open: bool) -> Evidence | None:
    """It stays far below its set point."""
    behind_c = view.behind_c
    if not view.is_heating or behind_c is None or view.is_set_point_falling:
        return None
    if behind_c <= view.limits.off_set_point_c * (0.6 if is_open else 1.0):
        return None
    return {"temp_c": view.temp_c, "set_point_c": view.temp_c + behind_c, "off_c": behind_c}


def low_power(view: View, is_open: bool) -> Evidence | None:
    """It draws far less than its rated power times the duty asked for."""
    if not view.is_heating or view.duty is None or view.draw is None or view.duty < 0.3:
        return None
    share = DRAWS_SHARE * (1.08 if is_open else 1.0)
    if not NO_DRAW <= view.draw < share * view.duty:
        return None
    return {"temp_c": view.temp_c, "duty": view.duty, "draw": view.draw}


def overshoot(view: View, is_open: bool) -> Evidence | None:
    """It is above its set point, its schedule's top or the kiln's cone limit."""
    if not view.is_firing:
        return None
    over_c = view.limits.overshoot_c * (0.6 if is_open else 1.0)
    top_c = view.plan.top_c + 2 * view.plan.top_slack_c
    limit_c = min(top_c + over_c, view.plan.kiln_limit_c + over_c)
    if view.temp_c > limit_c:
        return {"temp_c": view.temp_c, "limit_c": limit_c - over_c}
    is_rising = view.rate_c_per_h is None or view.rate_c_per_h > -5
    behind_c = view.behind_c
    if behind_c is None or not is_rising or view.is_set_point_falling or -behind_c <= over_c:
        return None
    return {"temp_c": view.temp_c, "set_point_c": view.temp_c + behind_c, "off_c": -behind_c}


def stuck_on(view: View, is_open: bool) -> Evidence | None:
    """It is heated though nothing asks for heat."""
    for found in (
        _draws_unasked(view),
        _rises_unasked(view, is_open),
        _outruns_schedule(view),
        _cools_too_slowly(view),
    ):
        if found is not None:
            return {"temp_c": view.temp_c, **found}
    return None


def sensor(view: View, is_open: bool) -> Evidence | None:
    """The thermocouple says what cannot be: a jump, a frozen value, zones far apart."""
    state = view.state
    if _has_jumped(view):
        return {"temp_c": view.temp_c, "jump_c": state.jump_c}
    spread_c = view.limits.zone_spread_c * (0.8 if is_open else 1.0)
    if view.spread_c is not None and view.spread_c > spread_c:
        return {"temp_c": view.temp_c, "spread_c": view.spread_c}
    same_s = view.now_s - state.same_since_s if state.same_since_s is not None else 0.0
    expected = view.expected_c_per_h or 0.0
    if view.is_heating and same_s >= FROZEN_S and expected >= FROZEN_EXPECTED_C_PER_H:
        return {"temp_c": view.temp_c, "same_minutes": same_s / 60}
    return None


def late(view: View, is_open: bool) -> Evidence | None:
    """It takes much longer than this kiln's own past, or than its schedule."""
    if not view.is_firing:
        return None
    if not view.is_heating:
        return _stays_at_top(view)
    running_s = view.now_s - view.state.started_s
    over = view.limits.late_percent / 100
    pace = view.plan.next_pace(view.state.peak_c or view.temp_c)
    if pace is not None:
        usual_s = pace.reached_s
        limit_s = usual_s + max(3 * pace.spread_s, over * usual_s, 3600.0)
        evidence = {"class_c": float(pace.class_c), "usual_minutes": usual_s / 60}
    elif view.plan.heating_s is not None:
        limit_s = view.plan.heating_s * (1 + 2 * over) + 2 * 3600.0
        evidence = {"planned_minutes": view.plan.heating_s / 60}
    else:
        return None
    if running_s <= limit_s:
        return None
    return {"temp_c": view.temp_c, "minutes": running_s / 60, **evidence}


def room(view: View, is_open: bool) -> Evidence | None:
    """The room is above its limit."""
    limit_c = view.limits.room_limit_c
    if view.room_c is None or view.room_c <= limit_c - is_open:
        return None
    return {"temp_c": view.room_c, "limit_c": limit_c}


def control_box(view: View, is_open: bool) -> Evidence | None:
    """The control box reaches its limit."""
    limit_c = view.limits.control_box_limit_c
    if view.control_box_c is None or view.control_box_c < limit_c - is_open:
        return None
    return {"temp_c": view.control_box_c, "limit_c": limit_c}


class Sign(NamedTuple):
    """How long a sign must hold before it is told, and be gone before it is over; in seconds."""

    look: Callable[[View, bool], Evidence | None]
    after_s: Callable[[View], float]
    calm_s: float


SIGNS: dict[Kind, Sign] = {
    "power_lost": Sign(power_lost, lambda view: 0.0, 300),
    "stuck_off": Sign(stuck_off, lambda view: 300.0, 300),
    "falling": Sign(falling, lambda view: 0.0 if _is_sparse(view) else 60.0, 300),
    "stalled": Sign(stalled, lambda view: 600.0 if _is_told_the_rate(view) else 1800.0, 900),
    "off_set_point": Sign(off_set_point, lambda view: view.limits.off_set_point_minutes * 60, 600),
    "low_power": Sign(low_power, lambda view: 900.0, 900),
    "overshoot": Sign(overshoot, lambda view: 120.0, 600),
    "stuck_on": Sign(stuck_on, lambda view: KEEPS_HOT_S if _is_kept_hot(view) else 300.0, 900),
    "sensor": Sign(sensor, lambda view: 0.0 if _has_jumped(view) else 600.0, 900),
    "late": Sign(late, lambda view: 0.0, 900),
    "room": Sign(room, lambda view: 0.0, 300),
    "control_box": Sign(control_box, lambda view: 0.0, 300),
}
# While one of the first is open, the second say nothing new.
COVERS: dict[Kind, tuple[Kind, ...]] = {
    "power_lost": ("stuck_off", "falling", "stalled", "off_set_point", "late"),
    "stuck_off": ("power_lost", "falling", "stalled", "off_set_point", "late", "low_power"),
    "falling": ("power_lost", "stalled", "off_set_point", "late"),
    "stalled": ("off_set_point", "late"),
    "off_set_point": ("stalled", "late"),
    "stuck_on": ("overshoot", "late"),
    "overshoot": ("late",),
    "low_power": ("stalled", "off_set_point"),
}
WHILE_HEATING: tuple[Kind, ...] = (
    "power_lost",
    "stuck_off",
    "falling",
    "stalled",
    "off_set_point",
    "low_power",
    "overshoot",
    "late",
)


def _has_jumped(view: View) -> bool:
    jump_s = view.state.jump_s
    return jump_s is not None and view.now_s - jump_s < JUMP_SHOWN_S


def _is_sparse(view: View) -> bool:
    """Readings come so rarely that one more would cost minutes."""
    return (view.state.interval_s or 0.0) >= 120


def _is_told_the_rate(view: View) -> bool:
    """By set point or schedule, and not only guessed from the past or from the cone."""
    return view.set_point_c is not None or bool(view.plan.ramps)


def _fall(view: View) -> Evidence:
    evidence = {"temp_c": view.temp_c, "peak_c": view.state.peak_c or view.temp_c}
    if view.rate_c_per_h is not None:
        evidence["rate_c_per_h"] = view.rate_c_per_h
    return evidence


def _has_fallen(view: View) -> bool:
    """Well below where it was, falling, and neither set point nor schedule wants it there."""
    peak_c, rate = view.state.peak_c, view.rate_c_per_h
    if peak_c is None or peak_c - view.temp_c <= view.limits.fall_c or view.is_going_down:
        return False
    is_step = (view.step_c or 0.0) < -view.limits.fall_c
    # A kiln that is hardly warm falls slowly.
    falls = max(FALLS_C_PER_H, -0.06 * max(view.temp_c - 25, 50))
    if not is_step and (rate is None or rate >= falls):
        return False
    if view.set_point_c is not None:
        return view.temp_c < view.set_point_c - HOLD_BAND_C and not view.is_set_point_falling
    ramps, at = view.plan.ramps, view.state.ramp
    if view.state.hold_since_s is not None and at < len(ramps):
        return view.temp_c < ramps[at].target_c - view.limits.fall_c
    return True


def _regains(view: View) -> bool:
    """It climbs again, or is back at its set point."""
    behind_c = view.behind_c
    if behind_c is not None and behind_c <= HOLD_BAND_C and (view.rate_c_per_h or 0.0) > -5:
        return True
    return view.rate_c_per_h is not None and view.rate_c_per_h > REGAINS_C_PER_H


def _is_dark(view: View) -> bool:
    """The controller has shown no set point for a while, and the kiln does not rise."""
    gone_s = view.state.set_point_gone_s
    if gone_s is None or view.now_s - gone_s < DARK_S:
        return False
    return view.rate_c_per_h is None or view.rate_c_per_h < 0


def _is_slow_in_class(view: View) -> bool:
    """It has been in this class of 100 C for far longer than in this kiln's like firings."""
    peak_c = view.state.peak_c or view.temp_c
    class_c = int(peak_c // CLASS_C) * CLASS_C
    entered_s = view.state.crossings.get(class_c)
    pace = next((one for one in view.plan.pace if one.class_c == class_c), None)
    if entered_s is None or pace is None or pace.climb_s is None:
        return False
    entered_s = max(entered_s, view.state.ramp_since_s - view.state.started_s)
    taken_s = view.now_s - view.state.started_s - entered_s
    return taken_s > SLOW_IN_CLASS * pace.climb_s + SLOW_IN_CLASS_S


def _came_back_cooler_by_c(view: View) -> float | None:
    state = view.state
    if state.before_gap_c is None or state.gap_ended_s is None or view.is_going_down:
        return None
    fallen_c = state.before_gap_c - view.temp_c
    is_fresh = view.now_s - state.gap_ended_s <= GAP_IS_FRESH_S
    return fallen_c if is_fresh and fallen_c > view.limits.fall_c else None


def _draws_unasked(view: View) -> Evidence | None:
    if view.duty is None or view.draw is None:
        return None
    if view.duty >= NO_DUTY or view.draw <= SOME_DRAW:
        return None
    return {"duty": view.duty, "draw": view.draw}


def _rises_unasked(view: View, is_open: bool) -> Evidence | None:
    rate = view.rate_c_per_h
    if rate is None or (view.duty is not None and view.duty > 0.1):
        return None
    behind_c = view.behind_c
    if behind_c is not None:
        least = 5.0 if is_open else RUNS_AWAY_C_PER_H
        is_away = rate > max(least, (view.set_point_rate_c_per_h or 0.0) + least)
        if -behind_c > 1.5 * HOLD_BAND_C and is_away:
            return {"rate_c_per_h": rate, "set_point_c": view.temp_c + behind_c}
        return None
    gone_s = view.state.set_point_gone_s
    if gone_s is None or view.now_s - gone_s < SET_POINT_GONE_S or rate <= REGAINS_C_PER_H:
        return None
    return {"rate_c_per_h": rate}


def _outruns_schedule(view: View) -> Evidence | None:
    """Without a set point: far faster than the schedule, or on past a target it should hold."""
    rate, ramps, at = view.rate_c_per_h, view.plan.ramps, view.state.ramp
    if view.set_point_c is not None or view.state.had_set_point or rate is None:
        return None
    if not view.is_heating or at >= len(ramps):
        return None
    if view.state.hold_since_s is not None:
        is_past = view.temp_c > ramps[at].target_c + view.limits.overshoot_c
        held_s = view.now_s - view.state.hold_since_s
        is_early = held_s < HOLD_SHARE * ramps[at].hold_minutes * 60
        if is_past and is_early and rate > RUNS_AWAY_C_PER_H:
            return {"rate_c_per_h": rate, "limit_c": ramps[at].target_c}
        return None
    expected, from_c = view.expected_c_per_h, view.state.ramp_from_c
    if expected is None or from_c is None or rate <= 1.6 * expected + 2 * RUNS_AWAY_C_PER_H:
        return None
    meant_c = from_c + 1.15 * expected * (view.now_s - view.state.ramp_since_s) / 3600
    if view.temp_c < meant_c + HOLD_BAND_C:
        return None  # it makes up for a delay
    return {"rate_c_per_h": rate, "expected_c_per_h": expected}


def _cools_too_slowly(view: View) -> Evidence | None:
    """Nothing asks for heat, and yet it keeps its heat as no kiln does without power."""
    rate, gone_s = view.slow_rate_c_per_h, view.state.set_point_gone_s
    if rate is None or view.is_heating or view.temp_c < COOLS_SLOWLY_ABOVE_C:
        return None
    is_gone = gone_s is not None and view.now_s - gone_s >= view.limits.stall_minutes * 60
    is_bare = not view.state.had_set_point and not view.plan.is_cooled_by_programme
    is_asked = view.duty is not None and view.duty > NO_DUTY
    if not (is_gone or is_bare) or is_asked:
        return None
    least = -COOLS_AT_LEAST_PER_H * (view.temp_c - 25)
    return {"rate_c_per_h": rate} if rate > least else None


def _is_kept_hot(view: View) -> bool:
    """Only its temperature is known, and it cools: a programme may hold it, for a while."""
    return not view.is_heating and not view.state.had_set_point and _draws_unasked(view) is None


def _stays_at_top(view: View) -> Evidence | None:
    """Its last hold is long over, nothing asks for more, and it is still there."""
    ramps, reached_s = view.plan.ramps, view.state.top_reached_s
    if not ramps or reached_s is None or view.set_point_c is not None:
        return None
    held_s = view.now_s - reached_s
    slack_s = view.limits.top_margin_c / min(ramps[-1].rate_c_per_h, 120) * 3600
    if held_s <= ramps[-1].hold_minutes * 60 + slack_s + TOP_GRACE_S:
        return None
    if view.temp_c <= view.plan.top_c - view.limits.top_margin_c:
        return None
    return {"temp_c": view.temp_c, "minutes": held_s / 60, "hold_minutes": ramps[-1].hold_minutes}
