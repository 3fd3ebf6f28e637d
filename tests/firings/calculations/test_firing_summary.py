"""The running summary of a log: batch by batch it equals the whole, but for rounding."""

import json
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.firing_summary import FiringSummary, add_readings, summarise
from firings.calculations.heat_work import cone_from_heat, cone_from_log
from firings.calculations.readings import Reading

START = datetime(2026, 2, 3, 7, tzinfo=UTC)


def readings_at(*points: tuple[float, float]) -> list[Reading]:
    """Return readings from (minute, C)."""
    return [Reading(START + timedelta(minutes=minute), temp_c) for minute, temp_c in points]


@st.composite
def logs(draw) -> list[Reading]:
    gaps = draw(st.lists(st.integers(1, 2700), max_size=40))
    temps = st.floats(-20, 1400, allow_nan=False)
    readings, second = [], 0
    for gap in gaps:
        second += gap
        readings.append(Reading(START + timedelta(seconds=second), draw(temps)))
    return readings


def assert_same(one: FiringSummary, other: FiringSummary) -> None:
    """Equal, numbers but for rounding: sums are added up in another order."""
    assert_alike(one.to_json(), other.to_json(), "")


def assert_alike(one: Any, other: Any, where: str) -> None:
    if isinstance(one, dict):
        assert one.keys() == other.keys(), where
        for key, value in one.items():
            assert_alike(value, other[key], f"{where}.{key}")
    elif isinstance(one, list | tuple):
        assert len(one) == len(other), where
        for number, (left, right) in enumerate(zip(one, other, strict=True)):
            assert_alike(left, right, f"{where}.{number}")
    else:
        expected = pytest.approx(other, rel=1e-9, abs=1e-6) if isinstance(one, float) else other
        assert one == expected, where


@given(logs(), st.data())
def test_any_cut_into_batches_gives_the_summary_of_the_whole(readings, data):
    # Source: definition of a running summary.
    summary, previous, done = FiringSummary(), None, 0
    while done < len(readings):
        count = data.draw(st.integers(1, len(readings) - done))
        batch = readings[done : done + count]
        summary = add_readings(summary, previous, batch)
        summary = FiringSummary.from_json(json.loads(json.dumps(summary.to_json())))
        previous, done = batch[-1], done + count
    assert_same(summary, summarise(readings))


@given(logs())
def test_hot_time_and_gaps_never_exceed_the_time_of_the_log(readings):
    summary = summarise(readings)
    if readings:
        whole_s = (readings[-1].at - readings[0].at).total_seconds()
        assert sum(summary.hot_seconds.values()) + summary.gap_seconds <= whole_s + 1e-6


def test_peak_ends_and_count():
    summary = summarise(readings_at((0, 20), (5, 30), (10, 1222), (15, 1200)))
    assert summary.readings_count == 4
    assert (summary.first_at, summary.last_at) == (START, START + timedelta(minutes=15))
    assert (summary.peak_c, summary.peak_at) == (1222, START + timedelta(minutes=10))
    assert summary.last_temp_c == 1200


def test_hot_time_is_shared_over_the_classes_that_a_straight_line_crosses():
    # Source: arithmetic: 550 to 750 C in 20 min is 10 C a minute: 5 min below 600, 10 min in
    # 600-700, 5 min in 700-750; then 10 min level at 750.
    # Classes are 25 C wide, 2.5 min each on the way up.
    summary = summarise(readings_at((0, 550), (20, 750), (30, 750)))
    assert summary.hot_seconds == pytest.approx(
        {600: 150, 625: 150, 650: 150, 675: 150, 700: 150, 725: 150, 750: 600}
    )


def test_cooling_counts_as_hot_time_too():
    # Source: arithmetic: 1000 to 900 C in 10 min, a quarter of it in each class of 25 C.
    summary = summarise(readings_at((0, 1000), (10, 900)))
    assert summary.hot_seconds == pytest.approx({900: 150, 925: 150, 950: 150, 975: 150})


def test_a_gap_over_30_minutes_adds_no_hot_time():
    # Source: arithmetic; 30 minutes exactly is no gap yet.
    summary = summarise(readings_at((0, 1100), (30, 1100), (61, 1100)))
    assert summary.hot_seconds == {1100: 1800.0}
    assert (summary.gaps_count, summary.gap_seconds) == (1, 1860.0)


def test_heating_rate_is_of_about_the_last_hour():
    # Source: arithmetic: 100 C/h for two hours, then 60 C/h for two.
    points = [(m, m * 100 / 60) for m in range(0, 121, 5)]
    points += [(m, 200 + (m - 120)) for m in range(125, 241, 5)]
    assert summarise(readings_at(*points)).heating_rate_c_per_h == pytest.approx(60)
    assert summarise(readings_at(*points[:25])).heating_rate_c_per_h == pytest.approx(100)


def test_heating_rate_waits_for_10_minutes_after_the_start_and_after_a_gap():
    assert summarise(readings_at((0, 20), (9, 30))).heating_rate_c_per_h is None
    points = [(m, m) for m in range(0, 60, 5)] + [(120, 300), (125, 310)]
    assert summarise(readings_at(*points)).heating_rate_c_per_h is None


def test_the_hold_at_the_peak_is_measured_and_kept_while_cooling():
    # Source: arithmetic: up at 60 C/h, 20 min within 2 C of 1222, then down.
    points = [(0, 1190), (10, 1200), (20, 1210), (30, 1221), (40, 1222), (50, 1220), (60, 1190)]
    summary = summarise(readings_at(*points))
    assert summary.peak_hold_seconds == 1200
    assert summary.hold_seconds == 0


def test_time_in_each_stage_and_its_rate():
    # Source: arithmetic: 100 C/h from 20 C to 1220 C is 12 h; burn-off 390 C, 3.9 h; within 20 C
    # of 573 C (Bartolovic & Zakin) 0.4 h; below 120 C 1 h. Down at 200 C/h: 40 C in 0.2 h. The
    # last 100 C take 1 h up and half an hour down.
    up = [(minute, 20 + minute * 100 / 60) for minute in range(0, 721, 10)]
    down = [(720 + minute, 1220 - minute * 200 / 60) for minute in range(10, 301, 10)]
    stages = {s.name: s for s in summarise(readings_at(*up, *down)).stages()}
    hours = {name: stage.seconds / 3600 for name, stage in stages.items()}
    assert hours == pytest.approx(
        {
            "drying": 1.0,
            "burn_off": 3.9,
            "quartz_heating": 0.4,
            "quartz_cooling": 0.2,
            "top": 1.5,
        }
    )
    assert [round(stage.rate_c_per_h or 0) for stage in stages.values()] == [
        100,
        100,
        100,
        -200,
        100,
    ]


def test_energy_of_the_meter_and_of_power_and_the_extremes_of_each_zone():
    # Source: arithmetic: 2 kW and then 4 kW, half an hour each by trapezoids: 1 + 1.5 kWh.
    def at(minute, temp_c, power_w, register_wh, zone2_c):
        moment = START + timedelta(minutes=minute)
        return Reading(moment, temp_c, zone2_c=zone2_c, power_w=power_w, register_wh=register_wh)

    readings = [at(0, 20, 2000, 100, 18), at(30, 90, 2000, None, 95), at(60, 80, 4000, 2500, None)]
    summary = summarise(readings)
    assert (summary.register_span_wh, summary.power_seconds) == (2400, 3600)
    assert summary.power_wh == pytest.approx(2500)
    assert summary.extremes == {"temp_c": (20, 90), "zone2_c": (18, 95)}


def test_heat_work_of_the_summary_is_that_of_the_whole_log():
    # Source: definition: cone_from_log integrates the log in one go.
    readings = readings_at(*[(m, 20 + m * 1.5) for m in range(0, 809, 2)], (830, 1150))
    summary = summarise(readings)
    assert cone_from_heat(summary.heat, summary.peak_c) == cone_from_log(readings)
    assert cone_from_log(readings).cone == "6"


def test_a_summary_of_the_first_version_is_read():
    old = {"readings_count": 2, "first_at": START.isoformat(), "hot_seconds": {"600": 5.0}}
    summary = FiringSummary.from_json(old)
    assert (summary.version, summary.hot_seconds, summary.first_at) == (1, {600: 5.0}, START)
    assert FiringSummary.from_json({}).version == summarise([]).version == 2


def test_an_empty_batch_changes_nothing():
    assert add_readings(FiringSummary(), None, []) == FiringSummary()
    assert FiringSummary.from_json({}) == FiringSummary()


def test_a_summary_given_is_left_as_it_was():
    readings = readings_at((0, 700), (10, 700), (20, 700))
    summary = summarise(readings[:2])
    before = summary.to_json()
    add_readings(summary, readings[1], readings[2:])
    assert summary.to_json() == before


def test_a_batch_that_does_not_follow_is_refused():
    readings = readings_at((0, 20), (5, 30), (10, 40))
    summary = summarise(readings[:2])
    with pytest.raises(ValueError, match="the summary ends at"):
        add_readings(summary, readings[0], readings[2:])
    with pytest.raises(ValueError, match="the summary ends at"):
        add_readings(summary, None, readings[2:])
    with pytest.raises(ValueError, match="out of order"):
        add_readings(summary, readings[1], readings[1:])
