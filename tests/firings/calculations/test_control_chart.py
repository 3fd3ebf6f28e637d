"""Individuals charts and robust slopes against published examples."""

from datetime import UTC, datetime, timedelta
from statistics import fmean

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.control_chart import individuals_chart, robust_slope
from firings.calculations.kiln_offset import Offset, PartChange, offset_advice, offset_runs

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: ten flow rates. From memory; every
# figure below follows from them by hand.
FLOW_RATES = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1]


def test_the_handbooks_flow_rates_have_its_limits():
    chart = individuals_chart(FLOW_RATES)
    # 508.1 / 10; moving ranges 2.0 2.3 1.4 3.5 3.4 1.4 0.2 1.2 1.5: 16.9 / 9; 3 x 1.8778 / 1.128
    assert chart.centre == pytest.approx(50.81)
    assert chart.mean_moving_range == pytest.approx(1.8778, abs=5e-5)
    assert chart.upper == pytest.approx(55.8041, abs=5e-4)
    assert chart.lower == pytest.approx(45.8159, abs=5e-4)
    assert chart.outside == ()


def test_a_value_beyond_the_limits_is_named():
    assert individuals_chart([*FLOW_RATES, 70.0]).outside == (10,)


def test_one_value_makes_no_chart():
    with pytest.raises(ValueError, match="at least 2"):
        individuals_chart([1.0])


def test_the_slope_of_sens_example():
    # P. K. Sen, J. Am. Stat. Assoc. 63 (1968), his example: slope 4. From memory; of the 21 slopes
    # of pairs, sorted by hand, the 11th is (55 - 15) / 10 = 4
    slope = robust_slope([1, 2, 3, 4, 10, 12, 18], [9, 15, 19, 20, 45, 55, 78])
    assert slope.per_step == 4
    assert slope.lower < 4 < slope.upper


@given(st.floats(-5, 5), st.floats(-100, 100), st.integers(0, 11))
def test_one_wild_value_does_not_move_a_line(steepness, start, wild):
    xs = list(range(12))
    ys = [start + steepness * x for x in xs]
    ys[wild] += 1e4
    slope = robust_slope(xs, ys)
    assert slope.per_step == pytest.approx(steepness, abs=1e-6)
    assert slope.at(0) == pytest.approx(start, abs=1e-6)


@pytest.mark.parametrize(
    ("xs", "ys", "told"),
    [
        ([1, 2], [1, 2], "at least 3"),
        ([1, 2, 3], [1, 2], "as many"),
        ([1, 1, 2], [1, 2, 3], "twice"),
    ],
)
def test_what_is_no_trend_is_refused(xs, ys, told):
    with pytest.raises(ValueError, match=told):
        robust_slope(xs, ys)


def offsets(*values: float) -> list[Offset]:
    return [Offset(NOON + timedelta(days=n), value, 3.0) for n, value in enumerate(values)]


def test_the_chart_begins_anew_when_the_thermocouple_is_replaced():
    changes = [PartChange(NOON + timedelta(days=5, hours=-12), "Thermocouple")]
    before, after = offset_runs(offsets(-8, -7, -9, -8, -7, 1, 0, 2), changes)
    assert (len(before.offsets), before.begun_by) == (5, ())
    assert (len(after.offsets), after.begun_by) == (3, ("Thermocouple",))
    assert before.chart.centre == pytest.approx(fmean([-8, -7, -9, -8, -7]))
    assert after.chart is None  # too few firings for limits
    assert offset_advice([before, after]) is None  # and for advice


def test_the_advice_is_the_mean_of_the_last_six_and_how_sure_it_is():
    advice = offset_advice(offset_runs(offsets(30, -8, -7, -9, -8, -7, -9)))
    assert (advice.firings_count, advice.mean_c) == (6, pytest.approx(-8))
    # GUM, JCGM 100: standard deviation 0.894 of 6 values, 0.365 of their mean; with what they
    # share, hypot(1.3, 2 / sqrt 3) = 1.739, twice hypot(0.365, 1.739) = 3.55
    assert advice.either_way_c == pytest.approx(3.55, abs=0.01)
    assert advice.stands_out


def test_an_offset_within_its_error_does_not_stand_out():
    assert not offset_advice(offset_runs(offsets(-2, 1, 0, -1, 2))).stands_out


def test_offsets_out_of_order_are_refused():
    with pytest.raises(ValueError, match="in order"):
        offset_runs(offsets(1, 2)[::-1])
