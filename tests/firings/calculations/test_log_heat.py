"""The heat work of a log in degrees at 60 C per hour, against the Orton chart."""

from datetime import UTC, datetime, timedelta
from math import hypot

import pytest

from firings.calculations.cone_kinetics import LEFT_OUT_RMS_C
from firings.calculations.cones import published_equivalents_c
from firings.calculations.firing_summary import summarise
from firings.calculations.log_heat import log_heat_c
from firings.calculations.readings import Reading

START = datetime(2026, 3, 2, 12, tzinfo=UTC)


def rise(rate_c_per_h: float, peak_c: float, hold_minutes: int = 0) -> list[Reading]:
    hours = (peak_c - 20) / rate_c_per_h
    count = int(hours * 12)
    log = [
        Reading(START + timedelta(hours=hours * n / count), 20 + (peak_c - 20) * n / count)
        for n in range(count + 1)
    ]
    ended_at = log[-1].at
    return log + [
        Reading(ended_at + timedelta(minutes=m), peak_c) for m in range(5, hold_minutes + 1, 5)
    ]


def heat_c_of(log: list[Reading]) -> float | None:
    summary = summarise(log)
    return log_heat_c(summary.heat, summary.peak_c)


@pytest.mark.parametrize("peak_c", [700.0, 998.0, 1063.0, 1222.0, 1285.0])
def test_a_steady_60_an_hour_is_its_own_peak(peak_c):
    assert heat_c_of(rise(60, peak_c)) == pytest.approx(peak_c, abs=0.1)


@pytest.mark.parametrize("cone", ["06", "04", "6", "10"])
@pytest.mark.parametrize("rate", [15.0, 150.0])
def test_other_rates_come_to_the_charts_60_column(cone, rate):
    """A cone that the chart has down at another rate is down: within the model's own error."""
    cells = published_equivalents_c(cone)
    heat_c = heat_c_of(rise(rate, cells[rate]))
    assert heat_c == pytest.approx(cells[60.0], abs=2 * hypot(LEFT_OUT_RMS_C, 2))


def test_a_hold_adds_to_it():
    # a potters' forum report: 40 minutes at cone 6 gave cone 8, 1249 C on the chart
    assert heat_c_of(rise(60, 1222, 40)) == pytest.approx(1249, abs=6)


def test_a_log_that_moves_no_cone_has_none():
    assert heat_c_of(rise(60, 400)) is None
    assert heat_c_of([]) is None


def test_readings_out_of_order_are_refused():
    with pytest.raises(ValueError, match="out of order"):
        heat_c_of(rise(60, 700)[::-1])
