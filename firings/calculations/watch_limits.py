"""When the watch speaks: the thresholds of one kiln, and where each default comes from."""

from __future__ import annotations

from dataclasses import dataclass

# Of each default but those of room and control box: chosen on simulated firings, so that sound
# ones are left alone (tests/benchmarks/watch.py); no published source gives such figures.
OWN = "Common practice, no source; tried on simulated firings."


@dataclass(frozen=True)
class Limits:
    """Temperatures and differences in C, times in minutes, shares in percent.

    stall_percent: of the rate that is expected; below it for stall_minutes a ramp has stalled.
    top_margin_c: how far below its top a firing may turn and yet have reached it.
    late_percent: how much longer than this kiln's own past, or than its schedule, is too long.
    """

    stall_percent: float = 70.0
    stall_minutes: float = 45.0
    off_set_point_c: float = 40.0
    off_set_point_minutes: float = 20.0
    overshoot_c: float = 20.0
    fall_c: float = 10.0
    no_data_minutes: float = 20.0
    late_percent: float = 30.0
    top_margin_c: float = 30.0
    zone_spread_c: float = 50.0
    room_limit_c: float = 38.0
    control_box_limit_c: float = 66.0
