"""How often the watch sees a fault, how soon, and how often it cries wolf.

    python -m tests.benchmarks.watch [--firings 200] [--sound 300] [--seed 2000]

The firings are simulated by tests/benchmarks/kiln_faults.py, which knows nothing of the watch:
kilns, loads, schedules, controllers, loggers and moments of the fault are drawn anew for each.
The default thresholds were chosen on seed 1000; what is printed by default is of other seeds. A
fault counts as detected when an alarm of a fitting kind begins after it; any alarm in a sound
firing, and any before its fault, is a false one. The clock is asked once a minute for silence.
"""

from __future__ import annotations

import argparse
import sys
from collections import Counter
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from statistics import median
from typing import Any

import numpy as np

from firings.calculations.readings import Reading
from firings.calculations.watch import note_post, silent_for_s, watch_readings
from firings.calculations.watch_limits import Limits
from firings.calculations.watch_plan import WatchPlan, plan_of
from firings.calculations.watch_state import WatchState
from tests.benchmarks.kiln_faults import FAULTS, Fired, Fleet, fire

START = datetime(2026, 2, 3, 7, tzinfo=UTC)
COLD_C, ALARMS_SEEN_C = 25.0, 420.0
NO_HEAT = {"power_lost", "stuck_off", "falling", "stalled", "off_set_point", "late"}
FITTING: dict[str, set[str]] = {
    "none": set(),
    "element failed": {*NO_HEAT, "low_power", "sensor"},
    "relay stuck on": {"stuck_on", "overshoot", "late"},
    "relay stuck off": NO_HEAT,
    "thermocouple drifts": {*NO_HEAT, "sensor", "stuck_on", "overshoot", "low_power"},
    "lid opened": {*NO_HEAT, "sensor"},
    "logger gone": {"no_data"},
    "power cut": {*NO_HEAT, "no_data"},
}


HEAD = (
    f"{'fault':<20}"
    + "".join(f"{one:>10}" for one in ("firings", "detected", "showed", "of those", "missed"))
    + f"{'median':>10}{'false per':>10}\n{'':<30}"
    + "".join(f"{one:>10}" for one in ("%", "", "det. %", "%", "min", "100"))
    + "\n"
)
# A fault shows when it moves the reading by so much from what the same firing reads without it.
SHOWS_C = 30.0


@dataclass(frozen=True)
class Outcome:
    """Of one firing: the false alarms, and the first fitting one, in minutes after the fault."""

    is_shown: bool
    false_kinds: tuple[str, ...]
    detected_kind: str = ""
    minutes: float = 0.0


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--firings", type=int, default=200)
    parser.add_argument("--sound", type=int, default=300)
    parser.add_argument("--seed", type=int, default=2000)
    parser.add_argument("--kinds", action="store_true", help="which alarms they were")
    arguments = parser.parse_args()
    write = sys.stdout.write
    write(HEAD)
    for number, fault in enumerate(FAULTS):
        count = arguments.sound if fault == "none" else arguments.firings
        outcomes = outcomes_of(fault, count, arguments.seed + number)
        write(_row(fault, outcomes))
        if arguments.kinds:
            write(f"    {Counter(one.detected_kind for one in outcomes)}\n")
            write(f"    false {Counter(k for one in outcomes for k in one.false_kinds)}\n")
        sys.stdout.flush()


def _row(fault: str, outcomes: list[Outcome]) -> str:
    false = 100 * sum(len(one.false_kinds) for one in outcomes) / len(outcomes)
    cells = ["", "", "", "", ""]
    if fault != "none":
        shown = [one for one in outcomes if one.is_shown]
        found = [one for one in outcomes if one.detected_kind]
        of_shown = 100 * sum(bool(one.detected_kind) for one in shown) / max(1, len(shown))
        cells = [
            f"{100 * len(found) / len(outcomes):.1f}",
            str(len(shown)),
            f"{of_shown:.1f}",
            f"{100 - of_shown:.1f}",
            f"{median(one.minutes for one in found):.0f}" if found else "",
        ]
    columns = [f"{len(outcomes)}", *cells, f"{false:.1f}"]
    return f"{fault:<20}" + "".join(f"{cell:>10}" for cell in columns) + "\n"


def outcomes_of(fault: str, count: int, seed: int) -> list[Outcome]:
    """Simulate and watch `count` firings with one fault. The same seed gives the same answer."""
    fleet = Fleet(fault, count, np.random.default_rng(seed))
    fired = fire(fleet)
    sound = fired if fault == "none" else fire(fleet, faulty=False)
    dice = np.random.default_rng(seed + 500)
    shown = _shows(fired, sound)
    return [_watched(fired, row, _plan(sound, row, dice), shown[row]) for row in range(count)]


def _shows(fired: Fired, sound: Fired) -> list[bool]:
    """Whether the fault moved what the thermocouple reads; silence and drift always count."""
    if fired.fleet.fault in ("logger gone", "thermocouple drifts"):
        return [True] * fired.fleet.count
    moved_c = np.abs(fired.temps_c - sound.temps_c)
    if fired.fleet.has_zones.any():
        zones_c = np.abs(fired.zones_c - sound.zones_c).max(axis=2)
        moved_c = np.where(fired.fleet.has_zones[:, None], np.maximum(moved_c, zones_c), moved_c)
    return [bool(one) for one in moved_c.max(axis=1) > SHOWS_C]


def _plan(sound: Fired, row: int, dice: np.random.Generator) -> WatchPlan:
    """What the studio knows of the firing: its schedule, its like firings, or only its cone."""
    fleet = sound.fleet
    knows = fleet.knows[row]
    schedule = [
        {"rate_c_per_h": rate, "target_c": target, "hold_minutes": hold}
        for rate, target, hold in fleet.schedules[row]
    ]
    past: list[dict[int, float]] = []
    if knows == "past":
        crossed = _crossings(sound, row)
        paces = dice.normal(1, 0.04, 6)
        past = [{c: s * pace for c, s in crossed.items()} for pace in paces]
    return plan_of(
        schedule if knows == "schedule" else [],
        fleet.cones[row],
        "10",
        float(fleet.rated_w[row]) * dice.uniform(0.95, 1.05),
        past,
    )


def _crossings(sound: Fired, row: int) -> dict[int, float]:
    temps = sound.temps_c[row]
    highest = int(temps.max() // 100) * 100
    return {
        c: float(sound.times_s[int(np.argmax(temps >= c))]) for c in range(200, highest + 1, 100)
    }


def _watched(fired: Fired, row: int, plan: WatchPlan, is_shown: bool) -> Outcome:
    state = WatchState(started_s=START.timestamp(), ramp_since_s=START.timestamp())
    limits, start_s = Limits(), START.timestamp()
    begun: list[tuple[str, float]] = []
    is_firing, falls = True, 0
    posted_s, is_silent = 0.0, False
    for batch in _batches(fired, row):
        received_s = batch[-1].at.timestamp() - start_s
        silent_at = _silent_at(state, posted_s, received_s, limits) if posted_s else None
        if silent_at is not None and not is_silent:
            begun.append(("no_data", silent_at))
        for reading in batch:
            events = watch_readings(state, [reading], plan, limits, is_firing=is_firing)
            begun += [
                (event.kind, event.at.timestamp() - start_s)
                for event in events
                if not event.is_over
            ]
            falls = falls + 1 if reading.temp_c < (state.peak_c or 0) - 50 else 0
            is_firing = is_firing and not (state.has_reached_top and falls >= 3)
        note_post(state, received_s + start_s)
        posted_s = received_s
        if not is_firing and batch[-1].temp_c < ALARMS_SEEN_C:
            break
    else:
        silent_at = _silent_at(state, posted_s, float(fired.times_s[-1]), limits)
        begun += [("no_data", silent_at)] if silent_at is not None else []
    return _judged(fired.fleet.fault, begun, float(fired.fault_s[row]), is_shown)


def _silent_at(state: WatchState, since_s: float, until_s: float, limits: Limits) -> float | None:
    """When the clock, asked every minute, would have found silence."""
    start_s = START.timestamp()
    for now_s in np.arange(since_s + 60, until_s, 60):
        if silent_for_s(state, start_s + float(now_s), limits) is not None:
            return float(now_s)
    return None


def _batches(fired: Fired, row: int) -> Any:
    """The readings as the logger sends them."""
    fleet = fired.fleet
    every = int(fleet.interval_s[row] / 30)
    per_batch = max(1, int(fleet.post_every_s[row] / fleet.interval_s[row]))
    batch: list[Reading] = []
    for column in range(0, fired.times_s.size, every):
        if not fired.is_read[row, column]:
            continue
        batch.append(_reading(fired, row, column, every))
        if len(batch) >= per_batch:
            yield batch
            batch = []


def _reading(fired: Fired, row: int, column: int, every: int) -> Reading:
    channels = fired.fleet.channels[row]
    since = slice(max(0, column - every + 1), column + 1)
    set_point = fired.set_points_c[row, column]
    has_set_point = channels != "bare" and not np.isnan(set_point)
    has_duty = channels in ("duty", "power")
    zones = fired.zones_c[row, column] if fired.fleet.has_zones[row] else (None, None)
    return Reading(
        at=START + timedelta(seconds=float(fired.times_s[column])),
        temp_c=float(fired.temps_c[row, column]),
        zone2_c=None if zones[0] is None else float(zones[0]),
        zone3_c=None if zones[1] is None else float(zones[1]),
        set_point_c=float(set_point) if has_set_point else None,
        duty=float(fired.duties[row, since].mean()) if has_duty else None,
        power_w=float(fired.powers_w[row, since].mean()) if channels == "power" else None,
    )


def _judged(fault: str, begun: list[tuple[str, float]], fault_s: float, is_shown: bool) -> Outcome:
    before = [kind for kind, at_s in begun if at_s < fault_s]
    for kind, at_s in sorted(begun, key=lambda one: one[1]):
        if at_s >= fault_s and kind in FITTING[fault]:
            return Outcome(is_shown, tuple(before), kind, (at_s - fault_s) / 60)
    return Outcome(is_shown, tuple(before))


if __name__ == "__main__":
    main()
