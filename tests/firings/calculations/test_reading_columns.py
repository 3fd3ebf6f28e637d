"""Readings as columns are the readings they were."""

import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.reading_columns import (
    ReadingColumns,
    first_impossible,
    impossible_places,
    joined,
    moment_of,
    us_of,
)
from firings.calculations.readings import Reading, check_reading

START = datetime(2026, 3, 2, 12, tzinfo=UTC)
VALUES = st.one_of(st.none(), st.floats(-1e4, 1e4))
READINGS = st.lists(
    st.builds(
        Reading,
        at=st.integers(0, 10**11).map(lambda us: START + timedelta(microseconds=us)),
        temp_c=st.floats(-1e4, 1e4),
        zone2_c=VALUES,
        duty=VALUES,
        register_wh=VALUES,
    ),
    max_size=20,
)


@given(READINGS)
def test_columns_are_a_sequence_of_the_readings(readings):
    columns = ReadingColumns.of(readings)
    assert list(columns) == readings
    assert [columns[place] for place in range(len(columns))] == readings
    assert list(columns[1:3]) == readings[1:3]


@given(READINGS)
def test_what_cannot_be_true_is_found_as_reading_by_reading(readings):
    wrong = [place for place, reading in enumerate(readings) if check_reading(reading)]
    columns = ReadingColumns.of(readings)
    assert impossible_places(columns).tolist() == wrong
    found = first_impossible(columns)
    assert (found is None) == (not wrong)
    assert found is None or found == (wrong[0], check_reading(readings[wrong[0]])[0])


@given(st.integers(-(10**15), 4 * 10**15))
def test_moments_come_back(at_us):
    assert us_of(moment_of(at_us)) == at_us


def test_a_temperature_that_is_none_is_impossible_and_a_naive_time_is_refused():
    assert first_impossible(ReadingColumns.of([Reading(START, math.nan)])) is not None
    with pytest.raises(ValueError, match="aware times"):
        ReadingColumns.of([Reading(START.replace(tzinfo=None), 20.0)])


def test_lots_with_other_fields_are_joined():
    one, other = Reading(START, 20.0, power_w=5.0), Reading(START, 21.0, room_c=18.0)
    assert list(joined([ReadingColumns.of([one]), ReadingColumns.of([other])])) == [one, other]


def test_dense_readings_are_thinned_by_the_clock_and_the_last_stays():
    log = ReadingColumns.of([Reading(START + timedelta(seconds=n), 20.0) for n in range(13)])
    kept = (log.at_most_every(5).at_us - us_of(START)) // 1_000_000
    assert kept.tolist() == [0, 5, 10, 12]
    far = ReadingColumns.of([Reading(START + timedelta(seconds=30 * n), 20.0) for n in range(4)])
    assert far.at_most_every(5) is far
    assert len(ReadingColumns.of([]).at_most_every(5)) == 0
    assert np.array_equal(log.in_order().at_us, log.at_us)
