"""When a firing's energy was used: an estimate spread over time, so that a tariff can price it."""

from bisect import bisect_right
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from itertools import pairwise

from firings.calculations.energy import (
    SECONDS_PER_HOUR,
    EnergyEstimate,
    EnergyInterval,
    Sample,
    samples_of,
)
from firings.calculations.readings import Reading

PROFILE_INTERVALS_MAX = 96
PROFILE_STEPS_MINUTES = (15, 30, 60, 120, 240, 480, 1440)


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
        shape = [Sample(started_at, 0.0), Sample(ended_at, 1.0)]
    intervals: list[EnergyInterval] = []
    for step_minutes in PROFILE_STEPS_MINUTES:
        edges = _edges(started_at, ended_at, step_minutes)
        intervals = _share_out(estimate.energy_wh, shape, edges)
        if len(intervals) <= PROFILE_INTERVALS_MAX:
            break
    return intervals


def _cumulative_shape(readings: Sequence[Reading], rated_power_w: float) -> list[Sample]:
    """Return energy used since the first sample, rising with time; empty when none is logged."""
    registers = samples_of(readings, "register_wh")
    if _rises(registers):
        return registers
    for field, factor in (("power_w", 1.0), ("duty", rated_power_w)):
        total_wh, cumulative = 0.0, []
        samples = samples_of(readings, field)
        for before, after in zip([*samples[:1], *samples], samples, strict=False):
            hours = (after.at - before.at).total_seconds() / SECONDS_PER_HOUR
            total_wh += (before.value + after.value) / 2 * factor * hours
            cumulative.append(Sample(after.at, total_wh))
        if _rises(cumulative):
            return cumulative
    return []


def _rises(samples: Sequence[Sample]) -> bool:
    return (
        len(samples) >= 2
        and samples[-1].value > samples[0].value
        and all(b.value >= a.value for a, b in pairwise(samples))
    )


def _at_time(shape: Sequence[Sample], at: datetime) -> float:
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
    energy_wh: int, shape: Sequence[Sample], edges: Sequence[datetime]
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
