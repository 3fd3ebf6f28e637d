"""The energy of a firing, how sure it is, and when it was used.

Sources in order of trust: the meter's registers, power samples, element duty times rated power,
the kiln's own history, and last an estimate from the time spent heating.

`uncertainty_wh` is one standard uncertainty as in JCGM 100 (the GUM): a bound of a either way
counts as a / sqrt(3), parts are combined by root sum of squares. The expanded uncertainty, about
95 %, is twice that. 1 kWh is 3.6 MJ exactly (NIST SP 811, B.8).
"""

import math
from bisect import bisect_right
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from statistics import median, stdev
from typing import Any, NamedTuple

from firings.calculations.readings import GAP_MAX, Reading, require_time_order

METER_REGISTER = "meter_register"
POWER_SAMPLES = "power_samples"
DUTY = "duty"
HISTORY = "history"
ESTIMATE = "estimate"
ENERGY_SOURCES: tuple[str, ...] = (METER_REGISTER, POWER_SAMPLES, DUTY, HISTORY, ESTIMATE)

SECONDS_PER_HOUR = 3600
# Power sensors on a kiln's supply are seldom checked: common practice, no source.
POWER_SENSOR_PERCENT = 5.0
# Elements 10 % up in resistance give 9.1 % less power (P = V2 / R), and mains voltage moves too.
RATED_POWER_PERCENT = 10.0
# Published studio figures: 50 % duty over a bisque firing, 65 % over a cone 6 glaze firing
# (Lakeside Pottery). The bound around their middle is ours: common practice, no source.
HEATING_DUTY = 0.575
HEATING_DUTY_BOUND = 0.325
PROFILE_INTERVALS_MAX = 96
PROFILE_STEPS_MINUTES = (15, 30, 60, 120, 240, 480, 1440)


@dataclass(frozen=True)
class EnergyEstimate:
    """Energy in whole Wh with its standard uncertainty, its source and how it was reached.

    `working` holds plain numbers and sentences only, so that it can be stored and shown.
    """

    energy_wh: int
    uncertainty_wh: int
    source: str
    working: dict[str, Any]


@dataclass(frozen=True)
class EnergyInterval:
    """Energy used from start_at (included) to end_at (not included), both UTC."""

    start_at: datetime
    end_at: datetime
    energy_wh: int


class _Sample(NamedTuple):
    at: datetime
    value: float


class _Integral(NamedTuple):
    energy_wh: float
    scatter_wh: float
    gap_uncertainty_wh: float
    gaps: list[str]


def _require_at_least(name: str, value: float, lowest: float) -> None:
    if not (math.isfinite(value) and value >= lowest):
        raise ValueError(f"{name} must be {lowest:g} or more, not {value!r}")


def _require_above_0(name: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0):
        raise ValueError(f"{name} must be above 0, not {value!r}")


def _estimate(
    energy_wh: float, parts_wh: dict[str, float], source: str, working: dict[str, Any]
) -> EnergyEstimate:
    """Combine standard uncertainties (JCGM 100, 5.1.2) and round to whole Wh, once."""
    standard_wh = math.sqrt(sum(part**2 for part in parts_wh.values()))
    shown = {name: round(part, 1) for name, part in parts_wh.items()}
    working = {
        **working,
        "uncertainty_parts_wh": shown,
        "expanded_uncertainty_wh": round(2 * standard_wh),
    }
    return EnergyEstimate(round(energy_wh), round(standard_wh), source, working)


def energy_from_registers(
    start_wh: float,
    end_wh: float,
    meter_class_percent: float = 2.0,
    resolution_wh: float = 100.0,
) -> EnergyEstimate:
    """Return the energy between two readings of a meter's register.

    The class is the bound of error in percent (2 for class B of 2014/32/EU, Annex V); each of
    the two readings is known to half its last digit, `resolution_wh`.
    Raises ValueError for negative registers and for a meter that runs backwards.
    """
    _require_at_least("start_wh", start_wh, 0)
    _require_at_least("end_wh", end_wh, 0)
    _require_at_least("meter_class_percent", meter_class_percent, 0)
    _require_at_least("resolution_wh", resolution_wh, 0)
    if end_wh < start_wh:
        raise ValueError(
            f"the meter runs backwards: end_wh {end_wh:,.0f} is below start_wh {start_wh:,.0f}; "
            "check that both are of the same meter, in the same unit and in this order"
        )
    energy_wh = end_wh - start_wh
    parts_wh = {
        "meter class": energy_wh * meter_class_percent / 100 / math.sqrt(3),
        "start register": resolution_wh / 2 / math.sqrt(3),
        "end register": resolution_wh / 2 / math.sqrt(3),
    }
    working = {
        "start_wh": start_wh,
        "end_wh": end_wh,
        "meter_class_percent": meter_class_percent,
        "resolution_wh": resolution_wh,
    }
    return _estimate(energy_wh, parts_wh, METER_REGISTER, working)


def _integrate(samples: Sequence[_Sample]) -> _Integral:
    """Integrate watts over time by trapezoids.

    An element that switches on and off scatters from sample to sample; half the mean square of
    successive differences is the variance of one sample. In a gap over 30 minutes the power was
    anything from 0 to the highest seen: the trapezoid stands, with that bound around it.
    """
    energy_wh = sum_of_squares = squared_hours = 0.0
    gap_bounds_wh: list[float] = []
    gaps: list[str] = []
    highest_w = max(sample.value for sample in samples)
    for before, after in pairwise(samples):
        hours = (after.at - before.at).total_seconds() / SECONDS_PER_HOUR
        energy_wh += (before.value + after.value) / 2 * hours
        if after.at - before.at > GAP_MAX:
            gap_bounds_wh.append(highest_w * hours / 2)
            gaps.append(f"{before.at.isoformat()} to {after.at.isoformat()}")
            continue
        sum_of_squares += (after.value - before.value) ** 2 / 2
        squared_hours += hours**2
    steps = len(samples) - 1 - len(gaps)
    scatter_wh = math.sqrt(sum_of_squares / steps * squared_hours) if steps else 0.0
    gap_uncertainty_wh = math.hypot(*gap_bounds_wh) / math.sqrt(3)
    return _Integral(energy_wh, scatter_wh, gap_uncertainty_wh, gaps)


def _samples_of(readings: Sequence[Reading], field: str) -> list[_Sample]:
    require_time_order(readings)
    return [
        _Sample(reading.at, getattr(reading, field))
        for reading in readings
        if getattr(reading, field) is not None
    ]


def _require_two(samples: Sequence[_Sample], name: str) -> None:
    if len(samples) < 2:
        raise ValueError(f"readings must hold at least 2 {name} samples, not {len(samples)}")


def energy_from_power_samples(
    readings: Sequence[Reading], sensor_percent: float = POWER_SENSOR_PERCENT
) -> EnergyEstimate:
    """Return the energy under the readings' power_w, by trapezoids; readings without are skipped.

    Raises ValueError with fewer than 2 samples. Gaps over 30 minutes are listed in the working.
    """
    samples = _samples_of(readings, "power_w")
    _require_two(samples, "power")
    integral = _integrate(samples)
    parts_wh = {
        "power sensor": integral.energy_wh * sensor_percent / 100 / math.sqrt(3),
        "sampling": integral.scatter_wh,
        "gaps": integral.gap_uncertainty_wh,
    }
    working = {
        "samples_count": len(samples),
        "sensor_percent": sensor_percent,
        "gaps_over_30_min": integral.gaps,
    }
    return _estimate(integral.energy_wh, parts_wh, POWER_SAMPLES, working)


def energy_from_duty(readings: Sequence[Reading], rated_power_w: float) -> EnergyEstimate:
    """Return element duty (0 to 1) times rated power over time, by trapezoids.

    The real power is rated power only for new elements at the nominal voltage, hence the bound
    of 10 %. Raises ValueError with fewer than 2 samples or a rated power that is not above 0.
    """
    _require_above_0("rated_power_w", rated_power_w)
    duties = _samples_of(readings, "duty")
    _require_two(duties, "duty")
    integral = _integrate([_Sample(d.at, d.value * rated_power_w) for d in duties])
    hours = (duties[-1].at - duties[0].at).total_seconds() / SECONDS_PER_HOUR
    parts_wh = {
        "rated power": integral.energy_wh * RATED_POWER_PERCENT / 100 / math.sqrt(3),
        "sampling": integral.scatter_wh,
        "gaps": integral.gap_uncertainty_wh,
    }
    working = {
        "samples_count": len(duties),
        "rated_power_w": rated_power_w,
        "hours": round(hours, 3),
        "mean_duty": round(integral.energy_wh / rated_power_w / hours, 4),
        "gaps_over_30_min": integral.gaps,
    }
    return _estimate(integral.energy_wh, parts_wh, DUTY, working)


def energy_from_history(past_energies_wh: Sequence[float]) -> EnergyEstimate:
    """Return the median of a kiln's like firings, with their scatter as its uncertainty.

    Raises ValueError with fewer than 2 past firings or a negative one.
    """
    if len(past_energies_wh) < 2:
        raise ValueError(f"past_energies_wh must hold at least 2, not {len(past_energies_wh)}")
    for past_wh in past_energies_wh:
        _require_at_least("past_energies_wh", past_wh, 0)
    parts_wh = {"scatter": stdev(past_energies_wh)}
    working = {"past_energies_wh": list(past_energies_wh)}
    return _estimate(median(past_energies_wh), parts_wh, HISTORY, working)


def energy_from_heating_time(readings: Sequence[Reading], rated_power_w: float) -> EnergyEstimate:
    """Return a rough guess: rated power times the hours to the peak times a usual duty.

    A last resort, with a wide bound. Raises ValueError when the log shows no heating.
    """
    _require_above_0("rated_power_w", rated_power_w)
    require_time_order(readings)
    if not readings:
        raise ValueError("readings must hold at least 2 readings, not 0")
    hours = (_peak_at(readings) - readings[0].at).total_seconds() / SECONDS_PER_HOUR
    if hours <= 0:
        raise ValueError("readings show no heating: the first one is the hottest")
    working = {
        "rated_power_w": rated_power_w,
        "heating_hours": round(hours, 3),
        "assumed_duty": HEATING_DUTY,
        "assumed_duty_bound": HEATING_DUTY_BOUND,
    }
    parts_wh = {"duty": rated_power_w * hours * HEATING_DUTY_BOUND / math.sqrt(3)}
    return _estimate(rated_power_w * hours * HEATING_DUTY, parts_wh, ESTIMATE, working)


def _peak_at(readings: Sequence[Reading]) -> datetime:
    return max(readings, key=lambda reading: reading.temp_c).at


def _why_incomplete(readings: Sequence[Reading], field: str) -> str | None:
    """Say why the samples of a field do not cover the heating; None when they do."""
    samples = _samples_of(readings, field)
    if len(samples) < 2:
        return "the log has none" if not samples else "the log has only one"
    if samples[0].at - readings[0].at > GAP_MAX:
        return "they begin more than 30 minutes into the log"
    if samples[-1].at < _peak_at(readings):
        return "they end before the peak"
    if field == "register_wh" and any(
        after.value < before.value for before, after in pairwise(samples)
    ):
        return "the register runs backwards"
    return None


def _energy_from_logged_registers(readings: Sequence[Reading]) -> EnergyEstimate:
    samples = _samples_of(readings, "register_wh")
    return energy_from_registers(samples[0].value, samples[-1].value)


def best_energy(
    readings: Sequence[Reading],
    rated_power_w: float,
    register_start_wh: float | None = None,
    register_end_wh: float | None = None,
    history_wh: Sequence[float] = (),
) -> EnergyEstimate:
    """Return the energy from the most trusted source that covers the firing.

    Registers given here (read by a person) come first, then registers in the log, power, duty,
    history, and an estimate from the hours of heating. `working["passed_over"]` says why better
    sources were not used. Raises ValueError when registers given run backwards, when only one
    of them is given and nothing else serves, and when there is no source at all.
    """
    if register_start_wh is not None and register_end_wh is not None:
        return energy_from_registers(register_start_wh, register_end_wh)
    passed_over = ["meter registers by hand: both start and end are needed"]
    choices: tuple[tuple[str, str, Callable[[], EnergyEstimate]], ...] = (
        ("register_wh", "meter registers", lambda: _energy_from_logged_registers(readings)),
        ("power_w", "power samples", lambda: energy_from_power_samples(readings)),
        ("duty", "element duty", lambda: energy_from_duty(readings, rated_power_w)),
    )
    for field, name, calculate in choices:
        reason = _why_incomplete(readings, field)
        if reason is None:
            return _with_passed_over(calculate(), passed_over)
        passed_over.append(f"{name} in the log: {reason}")
    if len(history_wh) >= 2:
        return _with_passed_over(energy_from_history(history_wh), passed_over)
    passed_over.append("the kiln's history: fewer than 2 like firings")
    try:
        estimate = energy_from_heating_time(readings, rated_power_w)
    except ValueError as error:
        raise ValueError(
            "nothing to take the energy from: "
            + "; ".join([*passed_over, f"time of heating: {error}"])
            + ". Type the meter's registers at start and end"
        ) from error
    return _with_passed_over(estimate, passed_over)


def _with_passed_over(estimate: EnergyEstimate, passed_over: list[str]) -> EnergyEstimate:
    return replace(estimate, working={**estimate.working, "passed_over": passed_over})


def energy_profile(
    readings: Sequence[Reading],
    estimate: EnergyEstimate,
    rated_power_w: float,
    started_at: datetime,
    ended_at: datetime,
) -> list[EnergyInterval]:
    """Spread an estimate's energy over the firing, so that a tariff can price it in time.

    The shape comes from the log's registers, else power, else duty times rated power, else it
    is even; the height is the estimate's. Intervals start on quarter hours or coarser steps, at
    most 96 of them; those without energy are left out; their Wh sum to the estimate exactly.
    Raises ValueError for naive times and when ended_at is not after started_at.
    """
    if started_at.utcoffset() is None or ended_at.utcoffset() is None:
        raise ValueError("started_at and ended_at must carry a time zone")
    started_at, ended_at = started_at.astimezone(UTC), ended_at.astimezone(UTC)
    if ended_at <= started_at:
        raise ValueError(f"ended_at {ended_at} must be after started_at {started_at}")
    shape = _cumulative_shape(readings, rated_power_w)
    if not shape or _at_time(shape, ended_at) <= _at_time(shape, started_at):
        shape = [_Sample(started_at, 0.0), _Sample(ended_at, 1.0)]
    intervals: list[EnergyInterval] = []
    for step_minutes in PROFILE_STEPS_MINUTES:
        edges = _edges(started_at, ended_at, step_minutes)
        intervals = _share_out(estimate.energy_wh, shape, edges)
        if len(intervals) <= PROFILE_INTERVALS_MAX:
            break
    return intervals


def _cumulative_shape(readings: Sequence[Reading], rated_power_w: float) -> list[_Sample]:
    """Return energy used since the first sample, rising with time; empty when none is logged."""
    registers = _samples_of(readings, "register_wh")
    if _rises(registers):
        return registers
    for field, factor in (("power_w", 1.0), ("duty", rated_power_w)):
        total_wh, cumulative = 0.0, []
        samples = _samples_of(readings, field)
        for before, after in zip([*samples[:1], *samples], samples, strict=False):
            hours = (after.at - before.at).total_seconds() / SECONDS_PER_HOUR
            total_wh += (before.value + after.value) / 2 * factor * hours
            cumulative.append(_Sample(after.at, total_wh))
        if _rises(cumulative):
            return cumulative
    return []


def _rises(samples: Sequence[_Sample]) -> bool:
    return (
        len(samples) >= 2
        and samples[-1].value > samples[0].value
        and all(b.value >= a.value for a, b in pairwise(samples))
    )


def _at_time(shape: Sequence[_Sample], at: datetime) -> float:
    """Read a cumulative shape at a moment: straight between samples, level outside them."""
    index = bisect_right(shape, at, key=lambda sample: sample.at)
    if index == 0:
        return shape[0].value
    if index == len(shape):
        return shape[-1].value
    before, after = shape[index - 1], shape[index]
    return before.value + (after.value - before.value) * ((at - before.at) / (after.at - before.at))


def _edges(started_at: datetime, ended_at: datetime, step_minutes: int) -> list[datetime]:
    """Return start, each step of the UTC clock within, and end.

    Quarter hours of UTC are quarter hours of every zone in use, so no tariff period is cut.
    """
    midnight = started_at.replace(hour=0, minute=0, second=0, microsecond=0)
    step = timedelta(minutes=step_minutes)
    edge = midnight + ((started_at - midnight) // step + 1) * step
    edges = [started_at]
    while edge < ended_at:
        edges.append(edge)
        edge += step
    return [*edges, ended_at]


def _share_out(
    energy_wh: int, shape: Sequence[_Sample], edges: Sequence[datetime]
) -> list[EnergyInterval]:
    """Round the running total at each edge, not the pieces: the pieces then sum exactly."""
    levels = [_at_time(shape, edge) for edge in edges]
    whole = levels[-1] - levels[0]
    totals = [round(energy_wh * (level - levels[0]) / whole) for level in levels]
    return [
        EnergyInterval(edges[index], edges[index + 1], totals[index + 1] - totals[index])
        for index in range(len(edges) - 1)
        if totals[index + 1] > totals[index]
    ]
