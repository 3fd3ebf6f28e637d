"""Every source that tells a firing's energy, the one that is taken, and where they disagree."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import combinations, pairwise

from firings.calculations.energy import (
    ENERGY_SOURCES,
    MEASURED_SOURCES,
    EnergyEstimate,
    energy_from_duty,
    energy_from_heating_time,
    energy_from_history,
    energy_from_intervals,
    energy_from_power_samples,
    energy_from_registers,
    peak_at,
    samples_of,
)
from firings.calculations.meter_series import MeteredInterval
from firings.calculations.readings import GAP_MAX, Reading

# Expanded uncertainties, about 95 %, are compared: JCGM 100, 6.2.
COVERAGE_FACTOR = 2


@dataclass(frozen=True)
class FiringMeters:
    """What was measured of one firing besides its log.

    The firing ran from start_at to end_at. Registers in Wh as a person read them; `intervals` of a
    utility's meter that measures this kiln alone, in order of time.
    """

    start_at: datetime
    end_at: datetime
    register_start_wh: float | None = None
    register_end_wh: float | None = None
    meter_class_percent: float = 2.0
    intervals: Sequence[MeteredInterval] = ()


def best_energy(
    readings: Sequence[Reading],
    rated_power_w: float,
    meters: FiringMeters,
    history_wh: Sequence[float] = (),
    power_factor: float = 1.0,
) -> EnergyEstimate:
    """Return the energy from the most trusted source that covers the firing.

    Registers read by a person come first, then registers in the log, a utility's intervals, power,
    duty, history, and last an estimate from the hours of heating. The working says what the other
    sources tell (`others`), where two disagree beyond their uncertainty (`disagreements`), and
    why better ones were not used (`passed_over`). `power_factor`: the power that aged elements
    still give, as a part of the rated power. Raises ValueError when registers run backwards and
    when there is no source at all.
    """
    known, passed_over = known_energies(readings, rated_power_w, meters, history_wh, power_factor)
    if not known:
        raise ValueError(
            f"nothing to take the energy from: {'; '.join(passed_over)}. "
            "Type the meter's registers at start and end"
        )
    best, *others = known
    better = ENERGY_SOURCES[: ENERGY_SOURCES.index(best.source)]
    working = {
        **best.working,
        "passed_over": passed_over if better else [],
        "others": [[one.source, one.energy_wh, one.uncertainty_wh] for one in others],
        "disagreements": disagreements(known),
    }
    return replace(best, working=working)


def disagreements(estimates: Sequence[EnergyEstimate]) -> list[list[str | int]]:
    """Pairs of measured sources further apart than their expanded uncertainties combined.

    Each as [source, its Wh, other source, its Wh, the most they should differ by].
    """
    measured = [one for one in estimates if one.source in MEASURED_SOURCES]
    found: list[list[str | int]] = []
    for one, other in combinations(measured, 2):
        most_wh = COVERAGE_FACTOR * math.hypot(one.uncertainty_wh, other.uncertainty_wh)
        if abs(one.energy_wh - other.energy_wh) > most_wh:
            found.append([one.source, one.energy_wh, other.source, other.energy_wh, round(most_wh)])
    return found


def estimate_of_record(
    energy_wh: int | None, uncertainty_wh: int | None, source: str
) -> EnergyEstimate | None:
    """What is on record for a firing, to compare with; None when nothing is."""
    if energy_wh is None:
        return None
    return EnergyEstimate(energy_wh, uncertainty_wh or 0, source, {})


def known_energies(
    readings: Sequence[Reading],
    rated_power_w: float,
    meters: FiringMeters,
    history_wh: Sequence[float],
    power_factor: float,
) -> tuple[list[EnergyEstimate], list[str]]:
    """Every estimate there is, most trusted first, and why each other source gives none."""
    known: list[EnergyEstimate] = []
    passed_over: list[str] = []

    def ask(name: str, why_not: str | None, calculate: Callable[[], EnergyEstimate]) -> None:
        if why_not is None:
            known.append(calculate())
        else:
            passed_over.append(f"{name}: {why_not}")

    start_wh, end_wh = meters.register_start_wh, meters.register_end_wh
    both = start_wh is not None and end_wh is not None
    ask(
        "meter registers by hand",
        None if both else "both start and end are needed",
        lambda: energy_from_registers(start_wh or 0, end_wh or 0, meters.meter_class_percent),
    )
    ask(
        "meter registers in the log",
        "those read by hand are taken" if both else _why_incomplete(readings, "register_wh"),
        lambda: _energy_from_logged_registers(readings, meters.meter_class_percent),
    )
    ask(
        "intervals of the utility's meter",
        _why_not_covered(meters),
        lambda: energy_from_intervals(
            meters.intervals, meters.start_at, meters.end_at, meters.meter_class_percent
        ),
    )
    ask(
        "power samples in the log",
        _why_incomplete(readings, "power_w"),
        lambda: energy_from_power_samples(readings),
    )
    ask(
        "element duty in the log",
        _why_incomplete(readings, "duty"),
        lambda: energy_from_duty(readings, rated_power_w, power_factor),
    )
    ask(
        "the kiln's history",
        None if len(history_wh) >= 2 else "fewer than 2 like firings",
        lambda: energy_from_history(history_wh),
    )
    if not known:
        try:
            known.append(energy_from_heating_time(readings, rated_power_w))
        except ValueError as error:
            passed_over.append(f"time of heating: {error}")
    return known, passed_over


def _why_not_covered(meters: FiringMeters) -> str | None:
    """Why the intervals cannot tell the energy of the firing's whole span; None when they can."""
    if not meters.intervals:
        return "none were taken in for this kiln and time"
    start_at, end_at = meters.start_at, meters.end_at
    inside = [i for i in meters.intervals if i.end_at > start_at and i.start_at < end_at]
    if not inside or inside[0].start_at > start_at or inside[-1].end_at < end_at:
        return "they do not cover the whole firing"
    if any(after.start_at > before.end_at for before, after in pairwise(inside)):
        return "there is a gap in them during the firing"
    return None


def _why_incomplete(readings: Sequence[Reading], field: str) -> str | None:
    """Say why the samples of a field do not cover the heating; None when they do."""
    samples = samples_of(readings, field)
    if len(samples) < 2:
        return "the log has none" if not samples else "the log has only one"
    if samples[0].at - readings[0].at > GAP_MAX:
        return "they begin more than 30 minutes into the log"
    if samples[-1].at < peak_at(readings):
        return "they end before the peak"
    if field == "register_wh" and any(
        after.value < before.value for before, after in pairwise(samples)
    ):
        return "the register runs backwards"
    return None


def _energy_from_logged_registers(
    readings: Sequence[Reading], meter_class_percent: float
) -> EnergyEstimate:
    samples = samples_of(readings, "register_wh")
    return energy_from_registers(samples[0].value, samples[-1].value, meter_class_percent)
