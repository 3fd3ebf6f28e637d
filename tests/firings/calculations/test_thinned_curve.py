"""A thinned log keeps its ends, its peaks and its order."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.readings import Reading
from firings.calculations.thinned_curve import thinned_curve

START = datetime(2026, 3, 2, 12, tzinfo=UTC)


def log_of(temperatures: list[float]) -> list[Reading]:
    return [Reading(START + timedelta(minutes=n), temp_c) for n, temp_c in enumerate(temperatures)]


def temperature(reading: Reading) -> float:
    return reading.temp_c


@given(st.lists(st.floats(0, 1300), max_size=200), st.integers(4, 60))
def test_ends_peak_and_dip_stay(temperatures, points_max):
    log = log_of(temperatures)
    thin = thinned_curve(log, points_max, temperature)
    assert len(thin) <= max(points_max, 0)
    assert thin == sorted(thin, key=lambda reading: reading.at)
    if log:
        assert (thin[0], thin[-1]) == (log[0], log[-1])
        assert max(r.temp_c for r in thin) == max(temperatures)
        assert min(r.temp_c for r in thin) == min(temperatures)


def test_a_short_log_is_left_alone():
    log = log_of([20, 30, 40])
    assert thinned_curve(log, 4, temperature) == log


def test_too_few_points_are_refused():
    with pytest.raises(ValueError, match="points_max"):
        thinned_curve([], 3, temperature)
