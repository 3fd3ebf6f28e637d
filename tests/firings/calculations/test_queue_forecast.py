"""The forecast of a queue against published queue rules, and its properties."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.queue_forecast import QueuedWare, forecast_queue, little_days

WEEKLY = {"load_area_mm2": 1000, "past_intervals_days": [7.0], "next_in_days": 3.0}
QUEUE = [QueuedWare(str(number), 400, 0) for number in range(6)]


def test_littles_law():
    # Little & Graves, "Little's Law" (2008), in Building Intuition (Springer): a wine rack of 160
    # bottles on average, 8 bought a month; a bottle stays 20 months.
    assert little_days(160, 8) == 20


def test_runs_ahead_are_whole_loads():
    # Factory Physics (Hopp and Spearman), ch. 9: a process batch serves whole batches in turn.
    # 400 each, 1000 a load: sums 400, 800, 1200, ... are in loads 1, 1, 2, 2, 2, 3.
    forecasts = forecast_queue(QUEUE, **WEEKLY)
    assert [one.load for one in forecasts] == [1, 1, 2, 2, 2, 3]
    # with one interval ever there is nothing to doubt: day 3, 10, 17
    assert [one.band_days for one in forecasts[::2]] == [(3, 3), (10, 10), (10, 10)]
    assert forecasts[5].likely_days == (17, 17)


def test_loads_of_the_past_agree_with_littles_law():
    """A weekly load that takes all that came: ware waits half a week on average (U(0, 7))."""
    evenly = [QueuedWare(str(n), 1, 0) for n in range(3)]
    forecasts = forecast_queue(
        evenly, load_area_mm2=1000, past_intervals_days=[7.0], next_in_days=None
    )
    low, high = forecasts[0].likely_days
    # Quartiles of a uniform wait over 7 days are 1.75 and 5.25; 400 draws come within half a day.
    assert low == pytest.approx(1.75, abs=0.5)
    assert high == pytest.approx(5.25, abs=0.5)


def test_wet_ware_waits_for_the_load_after_it_is_dry():
    wet = replace(QUEUE[0], ready_in_days=5)
    assert forecast_queue([wet], **WEEKLY)[0].band_days == (10, 10)


def test_a_cancelled_load_moves_all_later_ones_by_one_interval():
    before = forecast_queue(QUEUE, **WEEKLY)
    after = forecast_queue(QUEUE, **{**WEEKLY, "next_in_days": 10.0})
    for one, other in zip(before, after, strict=True):
        assert other.band_days[0] - one.band_days[0] == 7


areas = st.lists(st.integers(1, 3000), min_size=1, max_size=12)
intervals = st.lists(st.floats(0.5, 40), min_size=1, max_size=8)


@given(areas, intervals, st.integers(1, 3000), st.data())
def test_ware_added_ahead_never_makes_anything_earlier(sizes, gaps, more, data):
    queue = [QueuedWare(str(n), size, 0) for n, size in enumerate(sizes)]
    known = {"load_area_mm2": 2000, "past_intervals_days": gaps, "next_in_days": 1.0}
    before = {one.id: one for one in forecast_queue(queue, **known)}
    place = data.draw(st.integers(0, len(queue)))
    queue.insert(place, QueuedWare("new", more, 0))
    for one in forecast_queue(queue, **known):
        if one.id != "new":
            assert one.load >= before[one.id].load
            assert one.band_days[1] >= before[one.id].band_days[1] - 1e-9


@pytest.mark.parametrize(
    ("changes", "named"),
    [
        ({"load_area_mm2": 0}, "load_area_mm2"),
        ({"past_intervals_days": []}, "past_intervals_days"),
        ({"past_intervals_days": [7.0, 0.0]}, "past_intervals_days"),
    ],
)
def test_what_cannot_be_is_named(changes, named):
    with pytest.raises(ValueError, match=named):
        forecast_queue(QUEUE, **{**WEEKLY, **changes})


def test_littles_law_needs_arrivals():
    with pytest.raises(ValueError, match="arrivals_per_day"):
        little_days(3, 0)
