"""Cooling: four textbook problems, and a forecast that admits what it does not know.

How far off the forecast is on kilns it has not seen: test_cooling_trials.py.
"""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from firings.calculations.cooling import (
    Asked,
    Phase,
    forecast_band,
    forecast_cooling,
    time_to_reach_s,
)
from firings.calculations.cooling_log import power_off_index, room_seen
from firings.calculations.cooling_plan import PlannedSegment, rest_of_schedule
from firings.calculations.cooling_prior import unknown_kiln
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


SMALL = unknown_kiln(volume_l=74, inner_m2=0.98)


def newton_log(
    start_c: float, room_c: float, constant_h: float, minutes: int, every: int = 5
) -> list[Reading]:
    """Return five hours up to start_c, then minutes of cooling by Newton's law, power off."""
    readings = [
        Reading(START - timedelta(minutes=minute), start_c - (start_c - room_c) * minute / 300)
        for minute in range(300, 0, -every)
    ]
    for minute in range(0, minutes + 1, every):
        temp_c = room_c + (start_c - room_c) * math.exp(-minute / 60 / constant_h)
        readings.append(Reading(START + timedelta(minutes=minute), temp_c))
    return readings


def asked(readings, *, limit_c=52.0, room_c=20.0, **how) -> Asked:
    began_at = readings[0].at if readings else START
    return Asked(SMALL, readings, began_at, 5500.0, limit_c, room_c=room_c, **how)


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
    straight_h = (after_c - limit_c) / (start_c - after_c) * 0.75
    assert round(straight_h, 1) == 4.0
    fallen_h = time_to_reach_s(1000, after_c, room_c, constant_h)
    readings = newton_log(1000, room_c, constant_h, round(60 * fallen_h))
    at = readings[-1].at
    forecast = forecast_cooling(asked(readings, limit_c=limit_c, room_c=room_c), at)
    moments = (forecast.earliest_at, forecast.likely_at, forecast.latest_at)
    earliest_h, likely_h, latest_h = (hours_after(at, moment) for moment in moments)
    assert straight_h < earliest_h < 7.7 < latest_h
    assert likely_h == pytest.approx(7.7, rel=0.35)


def fired_log(sample_minutes: int = 5) -> list[Reading]:
    """Another model than the forecast's: the one-dimensional wall of kiln_simulation.py."""
    kiln = round_kiln(445, 476, rated_power_w=5500, shelves_kg=12)
    schedule = [Segment(100, 600), Segment(150, 1122), Segment(60, 1222, 15)]
    samples = simulate_firing(
        kiln, schedule, load_kg=16, room_c=20, until_c=48, sample_minutes=sample_minutes
    )
    return [
        Reading(START + timedelta(minutes=s.minute), s.temp_c, power_w=s.power_w) for s in samples
    ]


FIRED = fired_log()
OFF_AT = [reading.at for reading in FIRED if reading.power_w][-1]
REACHED_AT = next(reading.at for reading in FIRED if reading.at > OFF_AT and reading.temp_c <= 52)
SCHEDULE = [PlannedSegment(100, 600), PlannedSegment(150, 1122), PlannedSegment(60, 1222, 15)]


@pytest.mark.parametrize("hours_of_cooling", [0.5, 1, 2, 4, 8, 12, 16])
def test_forecast_brackets_a_wall_reckoned_in_layers(hours_of_cooling):
    at = OFF_AT + timedelta(hours=hours_of_cooling)
    forecast = forecast_cooling(asked(FIRED), at)
    assert forecast.phase == Phase.FALLING
    assert forecast.earliest_at < REACHED_AT < forecast.latest_at
    assert hours_after(at, forecast.likely_at) == pytest.approx(
        hours_after(at, REACHED_AT), rel=0.25
    )


def test_before_it_cools_the_schedule_tells_when_it_may_be_cool():
    at = START + timedelta(hours=6)
    forecast = forecast_cooling(asked(FIRED, schedule=SCHEDULE), at)
    assert forecast.is_before
    # The log is another model's run of this schedule.
    assert hours_after(forecast.off_at, OFF_AT) == pytest.approx(0, abs=0.75)
    assert forecast.earliest_at < REACHED_AT < forecast.latest_at
    assert forecast_cooling(asked(FIRED), at) is None  # no schedule: nobody knows when it ends


def test_the_band_narrows_as_it_cools():
    widths = []
    for hours in (0.5, 4, 10, 16):
        forecast = forecast_cooling(asked(FIRED), OFF_AT + timedelta(hours=hours))
        widths.append(hours_after(forecast.earliest_at, forecast.latest_at))
    assert widths == sorted(widths, reverse=True)


def test_the_curves_band_begins_at_the_last_reading_and_ends_at_the_limit():
    at = OFF_AT + timedelta(hours=4)
    forecast = forecast_cooling(asked(FIRED), at)
    band = forecast_band(forecast, points=30)
    last_c = next(r.temp_c for r in reversed(FIRED) if r.at <= at)
    assert len(band) == 30
    assert band[0].likely_c == pytest.approx(last_c, rel=0.02)
    assert band[-1].high_c == pytest.approx(52, abs=0.5)
    assert all(point.low_c <= point.likely_c <= point.high_c for point in band)
    likely = [point.likely_c for point in band]
    assert likely == sorted(likely, reverse=True)
    inside = [p for p in band if p.low_c <= _temp_c(p.at) <= p.high_c]
    assert len(inside) > 20
    with pytest.raises(ValueError, match="points must be 2 or more"):
        forecast_band(forecast, points=1)


def _temp_c(at: datetime) -> float:
    return next((r.temp_c for r in FIRED if r.at >= at), FIRED[-1].temp_c)


def test_forecast_says_what_it_rests_on():
    at = OFF_AT + timedelta(hours=4)
    forecast = forecast_cooling(asked(FIRED, room_c=None), at)
    last = next(reading for reading in reversed(FIRED) if reading.at <= at)
    assert (forecast.last_c, forecast.room_c, forecast.is_room_measured) == (last.temp_c, 20, False)
    assert (forecast.firings_count, forecast.off_at) == (0, OFF_AT)
    assert not forecast.is_silent


def test_the_hottest_zone_is_forecast():
    hotter = [replace(r, zone2_c=r.temp_c + 30, zone3_c=r.temp_c - 30) for r in FIRED]
    at = OFF_AT + timedelta(hours=10)
    zoned, plain = (forecast_cooling(asked(log), at) for log in (hotter, FIRED))
    assert zoned.last_c == pytest.approx(plain.last_c + 30)
    assert zoned.likely_at > plain.likely_at


def test_a_warmer_room_keeps_it_longer():
    at = OFF_AT + timedelta(hours=4)
    likely = [
        forecast_cooling(asked(FIRED, room_c=room_c), at).likely_at for room_c in (10, 20, 30)
    ]
    assert likely == sorted(likely)


def test_a_hot_kilns_room_is_reckoned_without_most_of_what_the_kiln_warmed():
    readings = [
        Reading(START + timedelta(minutes=5 * n), 20 + 10 * n, room_c=20 + n / 10)
        for n in range(101)
    ]
    seen = room_seen(readings)
    # The last three hours' mean is 28.2 C, the first hour's 20.6 C; 0.85 of the gain goes.
    assert seen.is_measured
    assert seen.room_c == pytest.approx(28.2 - 0.85 * 7.6, abs=0.1)


def test_power_tells_when_the_fall_began_else_the_peak_does():
    without = [replace(reading, power_w=None) for reading in FIRED]
    off, guessed = power_off_index(FIRED), power_off_index(without)
    assert FIRED[off].at == OFF_AT
    assert abs(hours_after(FIRED[guessed].at, OFF_AT)) < 0.2
    assert power_off_index(FIRED[: off - 5]) is None


def test_at_the_limit_the_moment_it_was_reached_is_given():
    forecast = forecast_cooling(asked(FIRED), FIRED[-1].at)
    assert forecast.is_reached
    assert forecast.earliest_at == forecast.likely_at == forecast.latest_at
    assert abs(hours_after(forecast.likely_at, REACHED_AT)) < 0.2
    assert forecast_band(forecast) == []


def test_silence_is_told_and_no_time_lies_in_the_past():
    until = OFF_AT + timedelta(hours=8)
    seen = [reading for reading in FIRED if reading.at <= until]
    at = until + timedelta(hours=72)
    forecast = forecast_cooling(asked(seen), at)
    assert forecast.earliest_at == forecast.latest_at == at
    assert forecast.is_silent
    assert forecast.silent_s == pytest.approx(72 * 3600, abs=300)


def test_readings_after_the_moment_are_not_looked_at():
    at = OFF_AT + timedelta(hours=3)
    seen = [reading for reading in FIRED if reading.at <= at]
    assert forecast_cooling(asked(FIRED), at) == forecast_cooling(asked(seen), at)


def test_nothing_is_forecast_when_nothing_honest_can_be_said():
    at = OFF_AT + timedelta(hours=3)
    assert forecast_cooling(asked([]), at) is None
    assert forecast_cooling(asked(FIRED, room_c=51), at) is None
    assert forecast_cooling(asked(FIRED), START + timedelta(hours=2)) is None


def test_readings_out_of_order_are_refused():
    with pytest.raises(ValueError, match="out of order"):
        forecast_cooling(asked(list(reversed(FIRED[:20]))), OFF_AT)


def test_the_rest_of_a_schedule_by_hand():
    rising = [Reading(START + timedelta(minutes=10 * n), 100 + 25 * n) for n in range(13)]
    # 400 C, rising 150 C an hour: to 600 C 1.33 h, then 522 C at 150 C/h 3.48 h, 100 C at 60 C/h
    # 1.67 h, hold 0.25 h; all but the first at the rates set.
    plan = [PlannedSegment(150, 600), *SCHEDULE[1:]]
    assert rest_of_schedule(rising, plan).hours == pytest.approx(
        1.33 + 3.48 + 1.67 + 0.25, abs=0.02
    )
    # Half as fast as set: the ramp that runs takes twice as long.
    slow = [PlannedSegment(300, 600), *SCHEDULE[1:]]
    assert rest_of_schedule(rising, slow).hours == pytest.approx(
        1.33 + 3.48 + 1.67 + 0.25, abs=0.02
    )
    held = [
        *rising,
        *(Reading(rising[-1].at + timedelta(minutes=10 * n), 400) for n in range(1, 4)),
    ]
    # Half an hour of its hour at 400 C is over.
    assert rest_of_schedule(held, [PlannedSegment(150, 400, 60)]).hours == pytest.approx(0.5)
    assert rest_of_schedule(held, []) is None
    with pytest.raises(ValueError, match="rate_c_per_h must be above 0"):
        rest_of_schedule(rising, [PlannedSegment(0, 600)])
