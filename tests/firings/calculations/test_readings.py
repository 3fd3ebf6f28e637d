"""Readings that cannot be true. Limits: common practice, no source."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from firings.calculations.readings import Reading, check_reading, require_time_order

NOON = datetime(2026, 3, 1, 12, tzinfo=UTC)
PLAUSIBLE = Reading(
    at=NOON,
    temp_c=998.0,
    zone2_c=996.0,
    zone3_c=1001.0,
    set_point_c=1000.0,
    power_w=5400.0,
    duty=0.62,
    register_wh=81_234_500.0,
    room_c=27.0,
    control_box_c=41.0,
)


@pytest.mark.parametrize("reading", [PLAUSIBLE, Reading(at=NOON, temp_c=20.0)])
def test_a_plausible_reading_has_no_problems(reading):
    assert check_reading(reading) == []


@pytest.mark.parametrize("edge", [{"temp_c": -50}, {"temp_c": 1500}, {"duty": 0}, {"duty": 1}])
def test_the_limits_themselves_are_allowed(edge):
    assert check_reading(replace(PLAUSIBLE, **edge)) == []


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"temp_c": 2232.0}, "temperature 2232.0 is not between -50 and 1,500 C"),
        ({"temp_c": float("nan")}, "temperature nan"),
        ({"temp_c": None}, "temperature None"),
        ({"zone2_c": -51.0}, "temperature of zone 2"),
        ({"zone3_c": float("inf")}, "temperature of zone 3"),
        ({"set_point_c": 1501.0}, "set point"),
        ({"power_w": -1.0}, "power -1.0"),
        ({"power_w": 1_000_001.0}, "power"),
        ({"duty": 62.0}, "duty 62.0 is not between 0 and 1 (a fraction, not a percentage)"),
        ({"register_wh": -5.0}, "meter register"),
        ({"room_c": 300.0}, "room temperature"),
        ({"control_box_c": 151.0}, "control box temperature"),
        ({"at": NOON.replace(tzinfo=None)}, "has no time zone"),
    ],
)
def test_what_cannot_be_true_is_named(wrong, words):
    (problem,) = check_reading(replace(PLAUSIBLE, **wrong))
    assert words in problem


def test_every_problem_of_a_reading_is_reported_at_once():
    assert len(check_reading(replace(PLAUSIBLE, temp_c=9999.0, duty=-1.0, power_w=-1.0))) == 3


@pytest.mark.parametrize("minutes", [[0, 5, 5], [0, 5, 4]])
def test_repeated_and_disordered_times_are_refused(minutes):
    readings = [Reading(NOON + timedelta(minutes=m), 20.0) for m in minutes]
    with pytest.raises(ValueError, match="out of order"):
        require_time_order(readings)
