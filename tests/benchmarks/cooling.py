"""How far off the cooling forecast is, on kilns of layered brick that it has not seen.

    python -m tests.benchmarks.cooling [--kilns 60] [--seed 2026]

Errors are shares of the time that remained; the band is meant to hold 80 of 100. Seed 1 was
used to set the forecast's constants; figures are to be read at other seeds.
"""

from __future__ import annotations

import argparse
import statistics
import time

from firings.calculations.cooling import forecast_cooling
from firings.calculations.cooling_prior import unknown_kiln
from tests.cooling_trials import (
    HISTORIES,
    MOMENTS,
    Trial,
    asked_of,
    drawn_logs,
    median_band,
    median_error,
    share_inside,
    trials_of,
)
from tests.kiln_wall_model import WallLog

KINDS = {
    "power and room logged": {},
    "temperature only, room not measured": {"has_power": False, "has_room": False},
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kilns", type=int, default=60)
    parser.add_argument("--seed", type=int, default=2026)
    chosen = parser.parse_args()
    logs = drawn_logs(chosen.seed, chosen.kilns, HISTORIES[-1] + 1)
    for name, how in KINDS.items():
        trials = [trial for kiln in logs for trial in trials_of(kiln, **how)]
        _print_table(name, trials, chosen.kilns)
    _print_pace(logs[0][0])


def _print_table(name: str, trials: list[Trial], kilns: int) -> None:
    print(f"\n{name}: {len(trials)} forecasts of {kilns} kilns")
    print("past firings  " + "".join(f"{moment:>26}" for moment in MOMENTS))
    print("              " + "  error  inside     band   " * len(MOMENTS))
    for history in HISTORIES:
        cells = []
        for moment in MOMENTS:
            seen = [one for one in trials if (one.history, one.moment) == (history, moment)]
            cells.append(
                f"{median_error(seen):7.1%} {share_inside(seen):7.0%} {median_band(seen):8.0%}   "
            )
        print(f"{history:>12}  " + "".join(cells))
    for label, group in _groups(trials):
        print(f"{label}: median error {median_error(group):.1%}, inside {share_inside(group):.0%}")


def _groups(trials: list[Trial]) -> list[tuple[str, list[Trial]]]:
    return [
        ("no past firing", [one for one in trials if one.history == 0]),
        ("3 to 10 past firings", [one for one in trials if one.history >= 3]),
    ]


def _print_pace(log: WallLog) -> None:
    known = unknown_kiln(log.kiln.volume_l, log.kiln.inner_m2)
    asked = asked_of(known, log, log.reaches(300.0), has_power=True, has_room=True)
    at, took = asked.readings[-1].at, []
    for _ in range(15):
        began = time.perf_counter()
        forecast_cooling(asked, at)
        took.append(time.perf_counter() - began)
    print(f"\none forecast at 300 C: {1000 * statistics.median(took):.1f} ms here")


if __name__ == "__main__":
    main()
