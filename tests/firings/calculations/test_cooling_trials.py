"""The forecast on kilns of layered brick that it has not seen.

Figures: tests/benchmarks/cooling.py. Source of the kilns: published conductivities and heat
capacities, named in tests/kiln_wall_model.py, which is written apart from the forecast. Limits
here are generous: few kilns, one drawing.
"""

import json

import numpy as np
import pytest

from firings.calculations.cooling import Asked
from firings.calculations.cooling_learning import learn_from_firing
from firings.calculations.cooling_prior import KilnCooling, unknown_kiln
from tests.cooling_trials import drawn_logs, median_error, share_inside, trials_of
from tests.kiln_wall_model import START

KILNS = drawn_logs(seed=7, kilns=6, firings=4)


def test_the_wall_model_is_plausible_against_potters_reports():
    # Source: potters' reports, one kiln each: about 220 C lost in the first hour (Clayart,
    # 11 Jan 1999); cold to cold about 24 h, heavy kilns two days (brennofenonline.de).
    logs = [log for kiln in KILNS for log in kiln]
    drops = [log.true_c.max() - log.true_c[_minute(log.off_at) + 60] for log in logs]
    assert 120 < np.median(drops) < 350
    days = [(log.reaches(52.0) - START).total_seconds() / 86400 for log in logs]
    assert 0.8 < np.median(days) < 2


def _minute(at) -> int:
    return int((at - START).total_seconds() / 60)


@pytest.fixture(scope="module")
def trials():
    return [trial for kiln in KILNS for trial in trials_of(kiln, histories=(0, 3))]


@pytest.mark.parametrize("moment", ["peak", "600 C", "300 C", "150 C"])
def test_with_a_few_past_firings_the_median_error_is_small(trials, moment):
    seen = [trial for trial in trials if (trial.history, trial.moment) == (3, moment)]
    assert median_error(seen) < 0.09


def test_the_band_holds_what_it_says(trials):
    assert 0.6 < share_inside(trials) <= 1


def test_without_history_the_band_at_the_peak_is_wide(trials):
    without, with_three = (
        [trial.band for trial in trials if (trial.history, trial.moment) == (history, "peak")]
        for history in (0, 3)
    )
    assert np.median(without) > 2 * np.median(with_three)


def test_habits_survive_json():
    log = KILNS[0][0]
    known = unknown_kiln(log.kiln.volume_l, log.kiln.inner_m2)
    learned = learn_from_firing(Asked(known, log.readings, START, 1.0, 52.0, is_over=True))
    again = KilnCooling.from_json(json.loads(json.dumps(learned.to_json())))
    assert again.firings_count == 1
    assert np.allclose(again.mean, learned.mean, atol=1e-4)
    assert np.allclose(again.spread, learned.spread, rtol=1e-4)
    assert len(json.dumps(learned.to_json())) < 4000
    with pytest.raises(ValueError, match="version must be"):
        KilnCooling.from_json({})


def test_a_firing_narrows_what_is_known_of_its_kiln():
    log = KILNS[0][0]
    known = unknown_kiln(log.kiln.volume_l, log.kiln.inner_m2)
    learned = learn_from_firing(Asked(known, log.readings, START, 1.0, 52.0, is_over=True))
    assert np.trace(learned.spread) < np.trace(known.spread)
    assert learned.usual_peak_c == pytest.approx(log.true_c.max(), abs=15)
    took_h = (log.reaches(52.0) - log.off_at).total_seconds() / 3600
    assert learned.usual_hours == pytest.approx(took_h, rel=0.05)


def test_a_log_that_shows_little_of_the_fall_teaches_nothing():
    log = KILNS[0][0]
    known = unknown_kiln(log.kiln.volume_l, log.kiln.inner_m2)
    hot = [reading for reading in log.readings if reading.at <= log.reaches(700.0)]
    assert learn_from_firing(Asked(known, hot, START, 1.0, 52.0)) is None
    heating = [reading for reading in log.readings if reading.at <= log.off_at]
    assert learn_from_firing(Asked(known, heating, START, 1.0, 52.0)) is None


def test_a_kiln_without_size_is_refused():
    with pytest.raises(ValueError, match="volume_l must be above 0"):
        unknown_kiln(0, 1)
