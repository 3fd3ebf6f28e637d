"""The curve: few enough points, no peak lost, ticks in the reader's unit."""

from dataclasses import replace
from datetime import timedelta

import pytest

from firings.calculations.readings import Reading
from firings.pages.curve import BOTTOM, LEFT, POINTS_AT_MOST, RIGHT, TOP, draw_curve
from tests.scene import NOON, log


def points_of(line):
    return [tuple(map(float, point.split(","))) for point in line.split()]


def test_a_long_log_is_drawn_with_few_points_and_its_peak():
    # One reading a minute for 28 hours and two minutes; the peak after eight hours.
    long = log(step_minutes=1)
    points = points_of(draw_curve(long, started_at=NOON, limit_c=52, unit="C").temperature)
    assert len(points) <= POINTS_AT_MOST < len(long)
    x, _ = min(points, key=lambda point: point[1])
    assert x == pytest.approx(LEFT + 480 / 1682 * (RIGHT - LEFT), abs=0.1)


def test_there_is_no_curve_without_readings():
    assert draw_curve([], started_at=NOON, limit_c=52, unit="C") is None


def test_the_curve_fills_its_frame():
    curve = draw_curve(log(), started_at=NOON, limit_c=52, unit="C")
    points = points_of(curve.temperature)
    assert (points[0][0], points[-1][0]) == (LEFT, RIGHT)
    assert all(TOP <= y <= BOTTOM for _, y in points)
    # The peak of 1060 C at eight of 29 hours is the highest point.
    x, _ = min(points, key=lambda point: point[1])
    assert x == pytest.approx(LEFT + 8 / 29 * (RIGHT - LEFT), abs=0.1)
    assert [tick.label for tick in curve.degrees] == [
        "0", "200", "400", "600", "800", "1000", "1200",
    ]  # fmt: skip
    assert [tick.label for tick in curve.hours][:3] == ["0 h", "4 h", "8 h"]


def test_fahrenheit_ticks_lie_where_their_celsius_do():
    # 32 F is 0 C, and 1832 F is 1000 C (NIST SP 811, B.8): the curve itself does not move.
    celsius = draw_curve(log(), started_at=NOON, limit_c=52, unit="C")
    fahrenheit = draw_curve(log(), started_at=NOON, limit_c=52, unit="F")
    assert [tick.label for tick in fahrenheit.degrees] == ["0", "500", "1000", "1500", "2000"]
    per_c = (BOTTOM - TOP) / (2000 / 1.8)
    y_of_500_f = BOTTOM - 500 / 1.8 * per_c
    assert fahrenheit.degrees[1].at == pytest.approx(y_of_500_f, abs=0.1)
    assert fahrenheit.unit == "°F"
    assert celsius.unit == "°C"


def test_the_table_has_the_first_reading_of_each_hour_and_the_last():
    curve = draw_curve(log()[:8], started_at=NOON, limit_c=52, unit="C")
    minutes = [(row.at - NOON) / timedelta(minutes=1) for row in curve.hourly]
    assert minutes == [0, 60, 120, 180, 210]


def test_one_reading_makes_a_curve_already():
    only = Reading(at=NOON, temp_c=20)
    curve = draw_curve([only], started_at=NOON, limit_c=52, unit="C")
    assert points_of(curve.temperature)[0][0] == LEFT


def test_other_zones_and_set_point_have_their_own_lines():
    readings = [replace(r, zone2_c=r.temp_c - 20, set_point_c=r.temp_c + 10) for r in log()]
    curve = draw_curve(readings, started_at=NOON, limit_c=52, unit="C")
    assert len(curve.zones) == 1
    assert curve.set_point
