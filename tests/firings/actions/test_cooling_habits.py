"""What a closed firing teaches its kiln; and the notice that sends crew to look."""

from dataclasses import replace
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from firings.actions.ask_to_look import ask_crew_to_look
from firings.actions.cool_down import begin_cooling
from firings.actions.cooling_habits import forecast_of, habits_of, thinned_moments
from firings.actions.end_firing import close_firing
from firings.actions.readings import add_firing_readings
from firings.models import CoolingHabits, FiringState
from firings.notices import is_still_unheard_of
from firings.tasks import ask_crew_to_look as ask_task
from studio.models import Notice
from tests import scene
from tests.scene import NOON

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("nobody_listens")]


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def firing(cosmo):
    kiln = scene.kiln()
    scene.booking(scene.person("Ines"))
    return scene.started(cosmo, scene.loading(cosmo, kiln))


def closed(cosmo, firing):
    firing, ended_at = scene.cooled(cosmo, firing)
    firing = scene.opened(cosmo, firing, at=ended_at)
    scene.unloaded(cosmo, firing, at=ended_at)
    return close_firing(
        by=cosmo, at=ended_at, firing=firing, result="reached", register_end_wh=1_030_000
    )


def cooling(firing, hours):
    readings = [r for r in scene.log(step_minutes=10) if r.at <= NOON + timedelta(hours=hours)]
    added = add_firing_readings(
        by=None, at=readings[-1].at, firing=firing, readings=readings, source="logger"
    )
    assert added.firing.state == FiringState.COOLING
    return added.firing


def test_a_closed_firing_teaches_its_kiln_once(firing, cosmo):
    before = habits_of(firing.kiln)
    firing = closed(cosmo, firing)
    record = CoolingHabits.objects.get()
    assert (record.kiln, record.firings_count) == (firing.kiln, 1)
    learned = habits_of(firing.kiln)
    assert (before.firings_count, learned.firings_count) == (0, 1)
    # The made-up log peaks at 1060 C and falls for twenty hours.
    assert learned.usual_peak_c == pytest.approx(1060, abs=5)
    assert learned.usual_hours == pytest.approx(20, abs=1)


def test_an_empty_first_firing_teaches_nothing_of_loads(firing, cosmo):
    type(firing).objects.filter(pk=firing.pk).update(is_empty_first_firing=True)
    firing, ended_at = scene.cooled(cosmo, firing)
    firing = scene.opened(cosmo, firing, at=ended_at)
    scene.unloaded(cosmo, firing, at=ended_at)
    firing.witness_cones.create(layer=1, cone="04", bend="0.5")
    close_firing(by=cosmo, at=ended_at, firing=firing, result="reached", register_end_wh=1_030_000)
    assert not CoolingHabits.objects.exists()


def test_a_firing_without_a_log_closes_and_teaches_nothing(firing, cosmo):
    later = NOON + timedelta(days=2)
    firing = begin_cooling(by=cosmo, at=NOON + timedelta(hours=9), firing=firing)
    firing = scene.opened(cosmo, firing, at=later)
    scene.unloaded(cosmo, firing, at=later)
    close_firing(by=cosmo, at=later, firing=firing, result="reached", register_end_wh=1_030_000)
    assert not CoolingHabits.objects.exists()


def test_habits_of_another_version_are_left_aside(firing):
    kiln = firing.kiln
    CoolingHabits.objects.create(
        kiln=kiln, learned={"version": 0}, firings_count=3, learned_at=NOON
    )
    assert habits_of(kiln).firings_count == 0


def test_a_long_log_is_thinned_and_keeps_its_last_reading(firing):
    base = scene.log(step_minutes=10)[0]
    readings = [replace(base, at=NOON + timedelta(seconds=30 * n)) for n in range(2000)]
    add_firing_readings(
        by=None, at=readings[-1].at, firing=firing, readings=readings, source="logger"
    )
    firing.refresh_from_db()
    with CaptureQueriesContext(connection) as queries:
        thinned = thinned_moments(firing)
    assert len(queries) == 1
    assert 250 < len(thinned) < 700
    assert thinned[-1].at == readings[-1].at
    assert thinned == sorted(thinned, key=lambda reading: reading.at)


def test_a_forecast_takes_few_queries(firing):
    firing = cooling(firing, 16)
    with CaptureQueriesContext(connection) as queries:
        assert forecast_of(firing, firing.log_last_at)
    assert len(queries) == 3


def test_a_firing_that_is_not_hot_has_no_forecast(firing, cosmo):
    firing, ended_at = scene.cooled(cosmo, firing)
    assert firing.state == FiringState.COOLED
    assert forecast_of(firing, ended_at) is None


def test_a_silent_kiln_is_looked_at_once_when_its_time_has_come(firing, cosmo):
    firing = cooling(firing, 16)
    likely_at = forecast_of(firing, firing.log_last_at).likely_at
    assert ask_crew_to_look(at=likely_at - timedelta(minutes=10)) == 0
    assert ask_crew_to_look(at=likely_at + timedelta(minutes=10)) == 1
    assert ask_crew_to_look(at=likely_at + timedelta(minutes=15)) == 0
    notice = Notice.objects.get(kind="look")
    assert notice.person == cosmo
    firing.refresh_from_db()
    assert firing.state == FiringState.COOLING  # a forecast says of no kiln that it is cool


def test_a_kiln_that_is_heard_of_is_left_alone(firing):
    firing = cooling(firing, 16)
    assert ask_crew_to_look(at=firing.log_last_at + timedelta(minutes=20)) == 0


def test_a_kiln_without_a_logger_is_looked_at_too(firing, cosmo):
    firing = begin_cooling(by=cosmo, at=NOON + timedelta(hours=9), firing=firing)
    likely_at = forecast_of(firing, NOON + timedelta(hours=9)).likely_at
    assert likely_at > NOON + timedelta(hours=15)
    assert ask_crew_to_look(at=likely_at + timedelta(minutes=1)) == 1
    assert Notice.objects.get(kind="look").facts["last_c"] is None


def test_the_notice_is_dropped_when_the_kiln_is_opened(firing, cosmo):
    begin_cooling(by=cosmo, at=NOON + timedelta(hours=9), firing=firing)
    assert ask_task() == 1  # long after, by the clock of today
    notice = Notice.objects.get(kind="look")
    assert is_still_unheard_of(notice)
    type(firing).objects.filter(pk=firing.pk).update(state=FiringState.OPENED)
    assert not is_still_unheard_of(notice)
