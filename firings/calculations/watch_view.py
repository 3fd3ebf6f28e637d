"""What the watch sees at one moment: the latest point, and how things changed up to it.

Rates are least-squares slopes, which noise of a degree hardly moves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from firings.calculations.readings import GAP_MAX
from firings.calculations.watch_limits import Limits
from firings.calculations.watch_plan import (
    DRYING_ENDS_C,
    FLOOR_C_PER_H,
    RATE_MAX_C_PER_H,
    WatchPlan,
)
from firings.calculations.watch_state import Point, WatchState

FAST_S, DEMAND_S = 15 * 60.0, 10 * 60.0
# A logger that writes every half hour still gives a rate, from its last three readings.
SPAREST_S = 70 * 60.0
# How near a set point or a target counts as holding it. Common practice, no source.
HOLD_BAND_C = 8.0
SET_POINT_MOVES_C_PER_H = 20.0


@dataclass(frozen=True, slots=True)
class View:
    """Rates C per hour, None where the readings do not say. duty and draw are means, 0 to 1."""

    state: WatchState
    plan: WatchPlan
    limits: Limits
    is_firing: bool
    now_s: float
    temp_c: float
    room_c: float | None
    control_box_c: float | None
    set_point_c: float | None
    rate_c_per_h: float | None
    slow_rate_c_per_h: float | None
    set_point_rate_c_per_h: float | None
    slow_set_point_rate_c_per_h: float | None
    step_c: float | None
    duty: float | None
    draw: float | None
    last_duty: float | None
    last_draw: float | None
    spread_c: float | None

    @property
    def is_heating(self) -> bool:
        """It should climb, or hold on its way: the top is not reached yet."""
        return self.is_firing and not self.state.has_reached_top

    @property
    def is_set_point_falling(self) -> bool:
        rate = self.set_point_rate_c_per_h
        return rate is not None and rate < -SET_POINT_MOVES_C_PER_H

    @property
    def behind_c(self) -> float | None:
        """How far below its set point the kiln is; negative above it."""
        return None if self.set_point_c is None else self.set_point_c - self.temp_c

    @property
    def holds(self) -> bool:
        """A programme's hold: set point or schedule say that it should stay where it is."""
        if self.set_point_c is not None:
            rate = self.set_point_rate_c_per_h
            is_flat = rate is None or abs(rate) < SET_POINT_MOVES_C_PER_H
            return is_flat and abs(self.set_point_c - self.temp_c) <= HOLD_BAND_C
        return self.state.hold_since_s is not None

    @property
    def is_going_down(self) -> bool:
        """The schedule goes down here, or next, on its way up to its top."""
        ramps, at = self.plan.ramps, self.state.ramp + (self.state.hold_since_s is not None)
        return 0 < at < len(ramps) and ramps[at].target_c < ramps[at - 1].target_c

    @property
    def expected_c_per_h(self) -> float | None:
        """How fast it should climb now; None in a hold, on a way down and where nobody knows."""
        behind_c = self.behind_c
        if self.holds or self.is_going_down or (behind_c is not None and behind_c <= HOLD_BAND_C):
            return None
        wanted = self.scheduled_c_per_h
        if wanted is None and self.state.hold_since_s is None:
            wanted = self.plan.rate_from_past(self.temp_c)
        if behind_c is not None:
            return max(self.slow_set_point_rate_c_per_h or 0.0, wanted or 0.0, FLOOR_C_PER_H)
        if wanted is None and self.temp_c > DRYING_ENDS_C and not self.plan.ramps:
            return FLOOR_C_PER_H
        return wanted

    @property
    def scheduled_c_per_h(self) -> float | None:
        """The rate of the schedule's ramp it is in; None in a hold, and for "full power"."""
        ramps, at = self.plan.ramps, self.state.ramp
        if at >= len(ramps) or self.state.hold_since_s is not None:
            return None
        rate = ramps[at].rate_c_per_h
        return rate if rate <= RATE_MAX_C_PER_H else None


def view_of(
    state: WatchState,
    plan: WatchPlan,
    limits: Limits,
    *,
    is_firing: bool,
    room_c: float | None,
    control_box_c: float | None,
) -> View:
    """Return what the points of `state` show at the last of them. There must be one."""
    points, last = state.points, state.points[-1]
    stall_s = limits.stall_minutes * 60
    recent = [point for point in points[-8:] if point.at_s > last.at_s - DEMAND_S]
    return View(
        state=state,
        plan=plan,
        limits=limits,
        is_firing=is_firing,
        now_s=last.at_s,
        temp_c=last.temp_c,
        room_c=room_c,
        control_box_c=control_box_c,
        set_point_c=last.set_point_c,
        rate_c_per_h=slope(points, FAST_S, of_set_point=False),
        slow_rate_c_per_h=slope(points, stall_s, of_set_point=False),
        set_point_rate_c_per_h=slope(points, FAST_S, of_set_point=True),
        slow_set_point_rate_c_per_h=slope(points, stall_s, of_set_point=True),
        step_c=_step_c(points),
        duty=_mean([point.duty for point in recent]),
        draw=_mean([point.draw for point in recent]),
        last_duty=last.duty,
        last_draw=last.draw,
        spread_c=last.spread_c,
    )


def slope(points: Sequence[Point], window_s: float, *, of_set_point: bool) -> float | None:
    """Return the least-squares slope in C per hour over the window, or the last three points.

    None with fewer points, across a gap, and when they span less than 0.6 of the window.
    """
    last_s = points[-1].at_s
    count, sum_t, sum_c, sum_tt, sum_tc, first_s = 0, 0.0, 0.0, 0.0, 0.0, last_s
    for point in reversed(points):
        away_s = last_s - point.at_s
        value = point.set_point_c if of_set_point else point.temp_c
        if value is None or first_s - point.at_s > GAP_MAX.total_seconds():
            break
        if away_s > window_s and (count >= 3 or away_s > SPAREST_S):
            break
        first_s, hours = point.at_s, -away_s / 3600
        count += 1
        sum_t, sum_c = sum_t + hours, sum_c + value
        sum_tt, sum_tc = sum_tt + hours * hours, sum_tc + hours * value
    spread = count * sum_tt - sum_t * sum_t
    if count < 3 or last_s - first_s < 0.6 * window_s or spread <= 0:
        return None
    return (count * sum_tc - sum_t * sum_c) / spread


def _step_c(points: Sequence[Point]) -> float | None:
    """The change from the last point but one, when both are readings of some minutes apart."""
    if len(points) < 2 or points[-1].at_s - points[-2].at_s > GAP_MAX.total_seconds():
        return None
    return points[-1].temp_c - points[-2].temp_c


def _mean(values: Sequence[float | None]) -> float | None:
    known = [value for value in values if value is not None]
    return sum(known) / len(known) if known else None
