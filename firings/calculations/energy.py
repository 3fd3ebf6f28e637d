"""The energy of a firing from each source, and how sure it is.

Sources in order of trust: the meter's registers, a utility's intervals, power samples, element
duty times rated power, the kiln's own history, and last an estimate from the time spent heating.

`uncertainty_wh` is one standard uncertainty as in JCGM 100 (the GUM): a bound of a either way
counts as a / sqrt(3), parts are combined by root sum of squares. The expanded uncertainty, about
95 %, is twice that. 1 kWh is 3.6 MJ exactly (NIST SP 811, B.8).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from statistics import median, stdev
from typing import Any, NamedTuple

from firings.calculations.meter_series import MeteredInterval, energy_in_span
from firings.calculations.readings import GAP_MAX, Reading, require_time_order

METER_REGISTER = "meter_register"
INTERVAL_METER = "interval_meter"
POWER_SAMPLES = "power_samples"
DUTY = "duty"
HISTORY = "history"
ESTIMATE = "estimate"
MEASURED_SOURCES: tuple[str, ...] = (METER_REGISTER, INTERVAL_METER, POWER_SAMPLES, DUTY)
ENERGY_SOURCES: tuple[str, ...] = (*MEASURED_SOURCES, HISTORY, ESTIMATE)

SECONDS_PER_HOUR = 3600
# Power sensors on a kiln's supply are seldom checked: common practice, no source.
POWER_SENSOR_PERCENT = 5.0
# Elements 10 % up in resistance give 9.1 % less power (P = V2 / R), and mains voltage moves too.
RATED_POWER_PERCENT = 10.0
# Published studio figures: 50 % duty over a bisque firing, 65 % over a cone 6 glaze firing
# (Lakeside Pottery). The bound around their middle is ours: common practice, no source.
HEATING_DUTY = 0.575
HEATING_DUTY_BOUND = 0.325


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


class Sample(NamedTuple):
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


def _integrate(samples: Sequence[Sample]) -> _Integral:
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


def samples_of(readings: Sequence[Reading], field: str) -> list[Sample]:
    """The readings that carry a field, in order of time."""
    require_time_order(readings)
    return [
        Sample(reading.at, getattr(reading, field))
        for reading in readings
        if getattr(reading, field) is not None
    ]


def _require_two(samples: Sequence[Sample], name: str) -> None:
    if len(samples) < 2:
        raise ValueError(f"readings must hold at least 2 {name} samples, not {len(samples)}")


def energy_from_power_samples(
    readings: Sequence[Reading], sensor_percent: float = POWER_SENSOR_PERCENT
) -> EnergyEstimate:
    """Return the energy under the readings' power_w, by trapezoids; readings without are skipped.

    Raises ValueError with fewer than 2 samples. Gaps over 30 minutes are listed in the working.
    """
    samples = samples_of(readings, "power_w")
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


def energy_from_intervals(
    intervals: Sequence[MeteredInterval],
    start_at: datetime,
    end_at: datetime,
    meter_class_percent: float = 2.0,
) -> EnergyEstimate:
    """Return what a utility's intervals say was used from start_at to end_at.

    The meter must measure the kiln alone. Intervals that reach over an edge count in proportion,
    those that the utility filled in count with a wide bound; see `energy_in_span`.
    """
    span = energy_in_span(intervals, start_at, end_at, meter_class_percent)
    working = {
        "intervals_count": len(span.parts),
        "filled_in_wh": round(span.filled_in_wh),
        "meter_class_percent": meter_class_percent,
    }
    parts_wh = {"meter, cut and filled-in intervals": span.uncertainty_wh}
    return _estimate(span.energy_wh, parts_wh, INTERVAL_METER, working)


def energy_from_duty(
    readings: Sequence[Reading], rated_power_w: float, power_factor: float = 1.0
) -> EnergyEstimate:
    """Return element duty (0 to 1) times the power of the elements over time, by trapezoids.

    `power_factor`: what aged elements still give, as a part of the rated power (P = V2 / R: 10 %
    more resistance leaves 0.909). The mains voltage moves too, hence the bound of 10 %. Raises
    ValueError with fewer than 2 samples, or a rated power or factor that is not above 0.
    """
    _require_above_0("rated_power_w", rated_power_w)
    _require_above_0("power_factor", power_factor)
    rated_power_w *= power_factor
    duties = samples_of(readings, "duty")
    _require_two(duties, "duty")
    integral = _integrate([Sample(d.at, d.value * rated_power_w) for d in duties])
    hours = (duties[-1].at - duties[0].at).total_seconds() / SECONDS_PER_HOUR
    parts_wh = {
        "rated power": integral.energy_wh * RATED_POWER_PERCENT / 100 / math.sqrt(3),
        "sampling": integral.scatter_wh,
        "gaps": integral.gap_uncertainty_wh,
    }
    working = {
        "samples_count": len(duties),
        "rated_power_w": rated_power_w / power_factor,
        "power_factor": power_factor,
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
    hours = (peak_at(readings) - readings[0].at).total_seconds() / SECONDS_PER_HOUR
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


def peak_at(readings: Sequence[Reading]) -> datetime:
    """When a log was hottest."""
    return max(readings, key=lambda reading: reading.temp_c).at
