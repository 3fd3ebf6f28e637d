"""The cooling forecast tried on kilns of layered brick (kiln_wall_model.py): how far off it is.

Each kiln is fired again and again with loads, peaks and rooms of their own; before each firing is
learned from, it is forecast with what the firings before it taught. So every forecast is of a
firing that nobody has seen.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from firings.calculations.cooling import Asked, forecast_cooling
from firings.calculations.cooling_learning import learn_from_firing
from firings.calculations.cooling_prior import KilnCooling, unknown_kiln
from tests.kiln_wall_model import START, WallLog, any_kiln, any_load, simulate_logs

LIMIT_C = 52.0
MOMENTS = ("peak", "600 C", "300 C", "150 C")
HISTORIES = (0, 1, 3, 5, 10)


@dataclass(frozen=True)
class Trial:
    """One forecast against the truth, in shares of the time that remained."""

    moment: str
    history: int
    error: float
    is_inside: bool
    band: float


def drawn_logs(seed: int, kilns: int, firings: int) -> list[list[WallLog]]:
    """Logs of kilns drawn at random, those of one kiln together."""
    dice = np.random.default_rng(seed)
    drawn = [any_kiln(dice) for _ in range(kilns)]
    cases = [(kiln, any_load(dice, kiln)) for kiln in drawn for _ in range(firings)]
    logs = simulate_logs(cases, dice)
    return [logs[start : start + firings] for start in range(0, len(logs), firings)]


def trials_of(
    logs: Iterable[WallLog],
    *,
    histories: Iterable[int] = HISTORIES,
    has_power: bool = True,
    has_room: bool = True,
) -> list[Trial]:
    """Forecast, then learn, one firing of a kiln after another."""
    wanted, trials, known = set(histories), [], None
    for history, log in enumerate(logs):
        known = known or unknown_kiln(log.kiln.volume_l, log.kiln.inner_m2)
        if history in wanted:
            trials += [
                _trial(known, log, moment, history, has_power=has_power, has_room=has_room)
                for moment in MOMENTS
            ]
        asked = asked_of(known, log, log.readings[-1].at, has_power=has_power, has_room=has_room)
        known = learn_from_firing(asked) or known
    return trials


def asked_of(
    known: KilnCooling, log: WallLog, at: datetime, *, has_power: bool, has_room: bool
) -> Asked:
    readings = [
        replace(
            reading,
            power_w=reading.power_w if has_power else None,
            room_c=reading.room_c if has_room else None,
        )
        for reading in log.readings
        if reading.at <= at
    ]
    return Asked(known, readings, START, 1.0, LIMIT_C, is_over=True)


def _trial(known: KilnCooling, log: WallLog, moment: str, history: int, **logged: bool) -> Trial:
    asked_at = log.off_at if moment == "peak" else log.reaches(float(moment.split()[0]))
    asked = asked_of(known, log, asked_at, **logged)
    at = asked.readings[-1].at
    forecast = forecast_cooling(asked, at)
    true_at = log.reaches(LIMIT_C)
    left = true_at - at
    return Trial(
        moment=moment,
        history=history,
        error=(forecast.likely_at - at) / left - 1,
        is_inside=forecast.earliest_at <= true_at <= forecast.latest_at,
        band=(forecast.latest_at - forecast.earliest_at) / left,
    )


def median_error(trials: Iterable[Trial]) -> float:
    return float(np.median([abs(trial.error) for trial in trials]))


def share_inside(trials: Iterable[Trial]) -> float:
    return float(np.mean([trial.is_inside for trial in trials]))


def median_band(trials: Iterable[Trial]) -> float:
    return float(np.median([trial.band for trial in trials]))
