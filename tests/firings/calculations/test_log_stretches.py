"""A log kept short keeps its ends, its peaks and its order, however its readings came."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.log_stretches import (
    STRETCHES_MAX,
    WIDTH_MIN_US,
    columns_of_points,
    merged,
    points_by_stretch,
    shape_of,
    thinned,
    width_us,
)
from firings.calculations.reading_columns import ReadingColumns
from firings.calculations.readings import Reading

START = datetime(2026, 3, 2, 12, tzinfo=UTC)


def log_of(temperatures: list[float], step_s: int = 60) -> ReadingColumns:
    return ReadingColumns.of(
        [
            Reading(START + timedelta(seconds=step_s * n), temp_c, set_point_c=500.0)
            for n, temp_c in enumerate(temperatures)
        ]
    )


@given(st.lists(st.floats(0, 1300), min_size=1, max_size=200), st.integers(6, 60))
def test_ends_peak_and_dip_stay(temperatures, points_max):
    log = log_of(temperatures)
    thin = thinned(log, points_max)
    assert len(thin) <= points_max
    assert (np.diff(thin.at_us) > 0).all()
    assert (thin[0], thin[-1]) == (log[0], log[-1])
    assert thin.values["temp_c"].max() == max(temperatures)
    assert thin.values["temp_c"].min() == min(temperatures)


@given(st.lists(st.floats(0, 1300), min_size=1, max_size=120), st.integers(1, 5), st.randoms())
def test_whatever_order_readings_come_in_the_shape_is_that_of_the_whole(temps, doubled, random):
    # Source: definition: first, last, coolest and hottest of each stretch of the whole log.
    log, width = log_of(temps, step_s=7), WIDTH_MIN_US * 2**doubled
    order = list(range(len(log)))
    random.shuffle(order)
    kept = ReadingColumns.of([])
    for number in order:
        # Kept narrow first: as when the log was still short.
        kept = merged(kept, log[number : number + 1], WIDTH_MIN_US)
    whole = shape_of(kept, width)
    for start in {us // width for us in log.at_us.tolist()}:
        of_log = log.pick(log.at_us // width == start)
        of_shape = whole.pick(whole.at_us // width == start)
        assert (of_shape[0], of_shape[-1]) == (of_log[0], of_log[-1])
        assert of_shape.values["temp_c"].max() == of_log.values["temp_c"].max()
        assert of_shape.values["temp_c"].min() == of_log.values["temp_c"].min()
        assert len(of_shape) <= 4


@given(st.integers(0, 10**15))
def test_a_log_of_any_length_has_at_most_a_thousand_stretches(span_us):
    width = width_us(0, span_us)
    assert span_us // width < STRETCHES_MAX
    assert width == WIDTH_MIN_US or span_us // (width // 2) >= STRETCHES_MAX


def test_points_come_back_as_the_readings_they_were():
    log = log_of([20.0, 30.0, 25.0])
    points = points_by_stretch(log, WIDTH_MIN_US)
    assert list(columns_of_points(list(points.values()))) == list(log)
    assert len(columns_of_points([])) == 0


def test_a_short_log_is_left_alone_and_too_few_points_are_refused():
    log = log_of([20, 30, 40])
    assert list(thinned(log, 6)) == list(log)
    with pytest.raises(ValueError, match="points_max"):
        thinned(log, 5)
