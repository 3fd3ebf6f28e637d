"""The forecast of a queue against published queue rules, and its properties."""

from dataclasses import dataclass, replace

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


def test_the_wait_for_a_load_to_form_is_the_published_one():
    """Factory Physics (Hopp and Spearman), ch. 9, parallel batches of k at arrivals ra: on average
    (k - 1) / (2 ra), all together k (k - 1) / 2 gaps."""
    per_load, per_day = 7, 2.0
    waits = []
    for number in range(per_load):
        here = [QueuedWare(str(n), 100, 0) for n in range(number + 1)]
        forecasts = forecast_queue(
            here,
            load_area_mm2=100 * per_load,
            past_intervals_days=[per_load / per_day],
            next_in_days=(per_load - 1 - number) / per_day,
        )
        waits.append(forecasts[-1].likely_days[0])
    assert sum(waits) / per_load == pytest.approx((per_load - 1) / (2 * per_day))
    assert sum(waits) == pytest.approx(per_load * (per_load - 1) / 2 / per_day)


@dataclass
class Studio:
    """Closed months of an invented studio: a slip now and then, a load each week."""

    load_slips: int
    slips_a_week: float
    weeks: int = 26

    def run(self):
        """Mean slips that waited, slips a day, mean days waited, mean days forecast."""
        days, waiting, waited, forecast, slip_days = self.weeks * 7, [], [], [], 0.0
        arrivals = [n * 7 / self.slips_a_week for n in range(int(self.weeks * self.slips_a_week))]
        for day in range(days):
            for came in (at for at in arrivals if day <= at < day + 1):
                waiting.append(came)
                queue = [QueuedWare(str(n), 100, 0) for n in range(len(waiting))]
                forecasts = forecast_queue(
                    queue,
                    load_area_mm2=100 * self.load_slips,
                    past_intervals_days=[7.0],
                    next_in_days=(day // 7 + 1) * 7 - came,
                )
                forecast.append(forecasts[-1].likely_days[0])
            slip_days += sum(day + 1 - max(day, came) for came in waiting)
            if day % 7 == 6:
                taken, waiting = waiting[: self.load_slips], waiting[self.load_slips :]
                waited += [day + 1 - came for came in taken]
        self.left = len(waiting)
        mean = sum(waited) / len(waited)
        return slip_days / days, len(waited) / days, mean, sum(forecast) / len(forecast)


def test_forecasts_of_closed_months_agree_with_littles_law():
    """Little & Graves (2008): L = lambda W, whatever the order of service, over whole cycles."""
    studio = Studio(load_slips=6, slips_a_week=5.25)
    waiting_mean, per_day, waited, forecast = studio.run()
    assert studio.left == 0
    assert little_days(waiting_mean, per_day) == pytest.approx(waited)
    assert forecast == pytest.approx(waited)


@pytest.mark.parametrize(("load_slips", "is_enough"), [(4, False), (5, True)])
def test_a_load_must_hold_more_than_comes_between_two(load_slips, is_enough):
    """Factory Physics, ch. 9, its example: arrivals times run time 4.5, the smallest k is 5."""
    months = Studio(load_slips=load_slips, slips_a_week=4.5)
    months.run()
    assert (months.left <= load_slips) is is_enough


def test_the_last_of_fourteen_loads_at_two_an_hour_waits_seven_hours():
    # A heat-treat queue: 14 loads at 2 an hour are 7 hours (worked example, mfgcalcs.com).
    queue = [QueuedWare(str(n), 1000, 0) for n in range(14)]
    rhythm = {"load_area_mm2": 1000, "past_intervals_days": [0.5 / 24], "next_in_days": 0.5 / 24}
    assert forecast_queue(queue, **rhythm)[-1].likely_days[0] == pytest.approx(7 / 24)


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
