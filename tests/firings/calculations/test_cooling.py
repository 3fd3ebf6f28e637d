"""Cooling: four textbook problems, and a forecast that admits what it does not know."""

import math
from datetime import UTC, datetime, timedelta

import pytest

from firings.calculations.cooling import forecast_cooling, time_to_reach_s
from firings.calculations.kiln_simulation import Segment, round_kiln, simulate_firing
from firings.calculations.readings import Reading

START = datetime(2026, 2, 3, 7, tzinfo=UTC)
SPHERE_1_MM_VOLUME_PER_AREA_M = 0.001 / 6


def time_constant(start: float, later: float, room: float, elapsed: float) -> float:
    """Return the constant with which `later` is reached after `elapsed`, in its unit of time."""
    return elapsed / time_to_reach_s(start, later, room, 1)


def test_cengel_example_4_1_thermocouple_junction():
    # Source: Cengel, Heat and Mass Transfer, Ex. 4-1: sphere 1 mm, density 8500, c 320, h 210:
    # 1 / time constant 0.463 per s; 99 % of the change after 10 s (9.94).
    constant_s = 8500 * 320 * SPHERE_1_MM_VOLUME_PER_AREA_M / 210
    assert round(1 / constant_s, 3) == 0.463
    assert round(time_to_reach_s(100, 1, 0, constant_s), 2) == 9.94


def test_lienhard_thermocouple_bead():
    # Source: Lienhard & Lienhard, A Heat Transfer Textbook: bead of 1 mm at 20 C into gas at
    # 200 C (h 250, density 9300, c 180): time constant 1.116 s, within 5 % after three of them.
    constant_s = 9300 * 180 * SPHERE_1_MM_VOLUME_PER_AREA_M / 250
    assert round(constant_s, 3) == 1.116
    assert round(time_to_reach_s(20, 200 - 0.05 * 180, 200, constant_s) / constant_s, 1) == 3.0


def test_openstax_cheesecake_and_try_it():
    # Source: OpenStax, Precalculus, exponential models: 165 F into 35 F, 150 F at 10 min; 70 F at
    # 107 min (k 0.01226 per min). Try it: 40 F into 70 F, 45 F at 1 h; 60 F at 6.026 h.
    # The law holds in any unit of temperature and time.
    constant_min = time_constant(165, 150, 35, 10)
    assert round(1 / constant_min, 4) == 0.0123
    assert round(time_to_reach_s(165, 70, 35, constant_min), 2) == 107.03
    constant_h = time_constant(40, 45, 70, 1)
    assert round(time_to_reach_s(40, 60, 70, constant_h), 3) == 6.026


def test_turkey():
    # An exercise of many calculus textbooks: 185 F in 75 F, 145 F at 30 min. Printed with k rounded
    # to 0.015: 130 F at 45 min, 100 F at 99 min. Unrounded, by hand: 130.8 F and 98.3 min.
    constant_min = time_constant(185, 145, 75, 30)
    assert round(1 / constant_min, 3) == 0.015
    assert round(time_to_reach_s(185, 130.8, 75, constant_min)) == 45
    assert round(time_to_reach_s(185, 100, 75, constant_min), 1) == 98.3
    assert round(time_to_reach_s(185, 100, 75, 1 / 0.015)) == 99


def test_what_newtons_law_cannot_do_is_refused():
    with pytest.raises(ValueError, match="target_c 20 must lie between"):
        time_to_reach_s(100, 20, 20, 60)
    with pytest.raises(ValueError, match="target_c 120 must lie between"):
        time_to_reach_s(100, 120, 20, 60)
    with pytest.raises(ValueError, match="time_constant_s must be above 0"):
        time_to_reach_s(100, 90, 20, 0)
    assert time_to_reach_s(100, 100, 20, 60) == 0


def newton_log(
    start_c: float, room_c: float, constant_h: float, minutes: int, every: int = 5
) -> list[Reading]:
    """Return a peak and then minutes of cooling by Newton's law from start_c, power off."""
    readings = [Reading(START - timedelta(minutes=every), start_c + 5, power_w=1000.0)]
    for minute in range(0, minutes + 1, every):
        temp_c = room_c + (start_c - room_c) * math.exp(-minute / 60 / constant_h)
        readings.append(Reading(START + timedelta(minutes=minute), temp_c, power_w=0.0))
    return readings


def hours_after(moment: datetime, later: datetime) -> float:
    return (later - moment) / timedelta(hours=1)


def test_forecast_brackets_the_potters_kiln_at_362_f():
    # Source: a potter's blog, 31 May 2010: 3 in brick at 362 F having lost 40 F in 45 min, in a
    # 75 F room: time constant 5.8 h, 150 F after another 7.7 h. A straight line says
    # 4.0 h, which is wrong.
    start_c, after_c = (402 - 32) / 1.8, (362 - 32) / 1.8
    room_c, limit_c = (75 - 32) / 1.8, (150 - 32) / 1.8
    constant_h = time_constant(start_c, after_c, room_c, 0.75)
    assert constant_h == pytest.approx(5.8, abs=0.1)
    assert round(time_to_reach_s(after_c, limit_c, room_c, constant_h), 1) == 7.7
    readings = newton_log(start_c, room_c, constant_h, 45)
    at = readings[-1].at
    forecast = forecast_cooling(readings, room_c, limit_c, at)
    hours = [
        hours_after(at, moment)
        for moment in (forecast.earliest_at, forecast.likely_at, forecast.latest_at)
    ]
    assert hours[0] < 7.7 < hours[2]
    assert hours[0] > 4.0
    assert hours[1] == pytest.approx(7.7, rel=0.1)


@pytest.mark.parametrize("hours_of_cooling", [1, 2, 4, 8, 12, 16, 18])
def test_forecast_brackets_a_wall_reckoned_in_layers(hours_of_cooling):
    # Source: the one-dimensional wall of kiln_simulation.py, another model than the forecast's.
    kiln = round_kiln(445, 476, rated_power_w=5500, shelves_kg=12)
    schedule = [Segment(100, 600), Segment(150, 1122), Segment(60, 1222, 15)]
    samples = simulate_firing(kiln, schedule, load_kg=16, room_c=20, until_c=52)
    readings = [
        Reading(START + timedelta(minutes=s.minute), s.temp_c, power_w=s.power_w) for s in samples
    ]
    off = next(s.minute for s in samples if s.set_point_c is None)
    at = START + timedelta(minutes=off, hours=hours_of_cooling)
    forecast = forecast_cooling(readings, 20, 52, at)
    assert forecast.earliest_at < readings[-1].at < forecast.latest_at
    remaining_h = hours_after(at, readings[-1].at)
    assert hours_after(at, forecast.likely_at) == pytest.approx(remaining_h, rel=0.25)


def test_forecast_says_what_it_rests_on():
    readings = newton_log(300, 20, 6, 90)
    forecast = forecast_cooling(readings, 20, 52, readings[-1].at)
    # The log was made with a time constant of six hours, in a room of 20 C.
    assert forecast.time_constant_s == pytest.approx(6 * 3600, rel=0.01)
    assert (forecast.last_c, forecast.room_c) == (readings[-1].temp_c, 20)
    assert not forecast.is_silent


def test_at_the_limit_the_moment_it_was_reached_is_given():
    readings = newton_log(60, 20, 6, 300)
    forecast = forecast_cooling(readings, 20, 52, readings[-1].at)
    reached_at = next(reading.at for reading in readings if reading.temp_c <= 52)
    assert forecast.earliest_at == forecast.likely_at == forecast.latest_at == reached_at
    assert forecast.time_constant_s is None


def test_silence_is_told_and_no_time_lies_in_the_past():
    readings = newton_log(100, 20, 6, 90)
    at = readings[-1].at + timedelta(hours=48)
    forecast = forecast_cooling(readings, 20, 52, at)
    assert forecast.earliest_at == forecast.latest_at == at
    assert forecast.is_silent
    assert forecast.silent_s == 48 * 3600


def test_readings_after_the_moment_are_not_looked_at():
    readings = newton_log(300, 20, 6, 600)
    at = START + timedelta(minutes=90)
    seen = [reading for reading in readings if reading.at <= at]
    assert forecast_cooling(readings, 20, 52, at) == forecast_cooling(seen, 20, 52, at)


@pytest.mark.parametrize(
    "readings",
    [
        [],
        newton_log(300, 20, 6, 10),
        newton_log(300, 20, 2000, 90),
        [Reading(START + timedelta(minutes=5 * i), 20.0 + 10 * i) for i in range(40)],
        [
            Reading(START + timedelta(minutes=5 * i), 900.0 - 5 * i, power_w=900.0)
            for i in range(40)
        ],
        [Reading(START + timedelta(minutes=5 * i), 300.0 - 60 * (i == 9)) for i in range(10)],
    ],
    ids=["empty", "too short", "hardly cooling", "heating", "power on", "one jump"],
)
def test_nothing_is_forecast_when_nothing_honest_can_be_said(readings):
    at = START + timedelta(hours=10)
    assert forecast_cooling(readings, 20, 52, at) is None


def test_nothing_is_forecast_in_a_room_as_warm_as_the_limit():
    readings = newton_log(300, 20, 6, 90)
    assert forecast_cooling(readings, 52, 52, readings[-1].at) is None
