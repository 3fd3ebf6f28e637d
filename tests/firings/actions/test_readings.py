"""Readings come in: once, in any order, whole or not at all; and what follows from them."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from firings.actions.cool_down import begin_cooling
from firings.actions.end_firing import abort_firing
from firings.actions.log_summary import short_log, summary_of
from firings.actions.open_and_unload import open_firing
from firings.actions.readings import (
    add_firing_readings,
    add_kiln_readings,
    moments_of,
)
from firings.calculations.firing_summary import FiringSummary, summarise
from firings.calculations.readings import Reading as Moment
from firings.models import FiringState, Reading
from firings.refusals import WareRefusal
from studio.models import Notice, Studio
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db
LATER = NOON + timedelta(days=2)


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def firing(cosmo):
    kiln = scene.kiln()
    scene.booking(scene.person("Ines"))
    return scene.started(cosmo, scene.loading(cosmo, kiln))


def add(firing, readings, *, source="logger", at=LATER, by=None):
    return add_firing_readings(by=by, at=at, firing=firing, readings=readings, source=source)


def refusal_of(firing, readings, **wanted) -> WareRefusal:
    with pytest.raises(WareRefusal) as caught:
        add(firing, readings, **wanted)
    return caught.value


def test_the_same_batch_twice_changes_nothing(firing):
    readings = scene.log()[:10]
    first, second = add(firing, readings), add(firing, readings)
    assert (first.stored, first.already_known) == (10, 0)
    assert (second.stored, second.already_known) == (0, 10)
    assert second.firing.log_count == 10
    assert Reading.objects.count() == 10


def test_out_of_order_batches_lead_to_the_same_summary(firing):
    readings = scene.log()[:16]
    for part in (readings[8:], readings[:8]):
        add(firing, list(reversed(part)))
    firing.refresh_from_db()
    assert FiringSummary.from_json(firing.log_summary) == summarise(readings)
    assert moments_of(firing) == readings


def test_late_readings_start_over_from_a_kept_summary_and_not_from_the_first(firing, monkeypatch):
    monkeypatch.setattr("firings.actions.log_summary.KEPT_EVERY_READINGS", 10)
    log = [Moment(at=NOON + timedelta(minutes=n), temp_c=20.0 + n % 7) for n in range(60)]
    for start in range(0, 60, 10):
        add(firing, [r for r in log[start : start + 10] if r is not log[55]])
    kept = list(firing.kept_summaries.values_list("at", flat=True))
    assert kept == [log[n].at for n in (9, 19, 29, 39, 49)]
    add(firing, [log[55]])
    firing.refresh_from_db()
    assert FiringSummary.from_json(firing.log_summary) == summarise(log)
    # The summaries of before are what they were; the one at the end is new.
    assert list(firing.kept_summaries.values_list("at", flat=True)) == [*kept, log[59].at]
    assert list(short_log(firing)) == sorted({r.at: r for r in log}.values(), key=lambda r: r.at)


def test_a_summary_that_an_earlier_version_wrote_is_worked_out_once_more(firing):
    log = scene.log()
    add(firing, log[:20])
    firing.refresh_from_db()
    old = {"readings_count": 20, "last_at": log[19].at.isoformat(), "last_temp_c": log[19].temp_c}
    firing.log_summary = old
    firing.save()
    firing.log_stretches.all().delete()
    assert summary_of(firing) == summarise(log[:20])
    assert len(short_log(firing)) == 20
    add(firing, log[20:])
    firing.refresh_from_db()
    assert FiringSummary.from_json(firing.log_summary) == summarise(log)
    assert len(short_log(firing)) == len(log)


@pytest.mark.parametrize(
    ("spoil", "code"),
    [
        ({"temp_c": 4000.0}, "reading_impossible"),
        ({"temp_c": float("nan")}, "reading_impossible"),
        ({"duty": 55.0}, "reading_impossible"),
        ({"power_w": -5.0}, "reading_impossible"),
        ({"at": LATER + timedelta(days=1)}, "reading_impossible"),
        ({"at": NOON - timedelta(days=1)}, "before_the_start"),
    ],
)
def test_one_impossible_reading_refuses_the_whole_batch(firing, spoil, code):
    readings = scene.log()[:4]
    readings[2] = replace(readings[2], **spoil)
    assert refusal_of(firing, readings).code == code
    assert not Reading.objects.exists()


def test_a_wrong_time_is_told_as_the_clock_on_the_studio_wall_shows_it(firing):
    studio = Studio.current()
    studio.time_zone = "Europe/Berlin"
    studio.save()
    early = replace(scene.log()[0], at=datetime(2026, 1, 5, 23, 30, tzinfo=UTC))
    # Central European Time is an hour ahead of UTC in winter (IANA time zone database).
    assert (
        "A reading of 6 Jan 2026, 00:30:00 (Europe/Berlin)" in refusal_of(firing, [early]).message
    )


def test_a_time_twice_in_one_batch_is_refused(firing):
    readings = scene.log()[:3]
    assert refusal_of(firing, [*readings, readings[1]]).facts["reading"] == 4


def test_a_meter_that_runs_backwards_is_refused(firing):
    readings = [replace(r, register_wh=1_000 - n) for n, r in enumerate(scene.log()[:3])]
    assert refusal_of(firing, readings).code == "meter_runs_backwards"


def test_a_meter_below_what_is_stored_already_is_refused(firing):
    readings = scene.log()[:6]
    add(firing, [replace(r, register_wh=5_000) for r in readings[:3]])
    refusal = refusal_of(firing, [replace(r, register_wh=4_000) for r in readings[3:]])
    assert refusal.code == "meter_runs_backwards"
    assert firing.readings.count() == 3


def test_an_empty_or_too_large_batch_is_refused(firing):
    assert refusal_of(firing, []).code == "no_readings"
    many = [Moment(at=NOON + timedelta(seconds=n), temp_c=20) for n in range(10_001)]
    assert refusal_of(firing, many).status == 413


def home_of(kiln, readings):
    """The one firing that a logger's batch goes to."""
    at = max(reading.at for reading in readings)
    (one,) = add_kiln_readings(at=at, kiln=kiln, readings=readings).received
    return one.firing


def test_a_kiln_that_is_not_fired_takes_no_readings(firing):
    idle = scene.kiln(name="Wren")
    with pytest.raises(WareRefusal, match="not being fired"):
        home_of(idle, scene.log()[:2])
    assert home_of(firing.kiln, scene.log()[:2]) == firing


class TestRouting:
    """A logger names only its kiln: the time says which firing its readings belong to."""

    @pytest.fixture
    def opened(self, firing, cosmo):
        cooled, ended_at = scene.cooled(cosmo, firing)
        return scene.opened(cosmo, cooled, at=ended_at)

    @pytest.fixture
    def following(self, opened, cosmo):
        """The kiln is fired again before the opened firing is closed."""
        at = opened.opened_at + timedelta(hours=6)
        scene.unloaded(cosmo, opened, at=at)
        scene.booking(scene.person("Otto"), at=at)
        return scene.started(cosmo, scene.loading(cosmo, opened.kiln, at=at), at=at)

    def test_late_readings_go_to_the_firing_of_their_time(self, opened, following):
        late = [Moment(at=NOON + timedelta(hours=5, minutes=7), temp_c=700)]
        now = [Moment(at=following.started_at + timedelta(minutes=5), temp_c=25)]
        assert home_of(opened.kiln, late) == opened
        assert home_of(opened.kiln, now) == following

    def test_a_batch_across_two_firings_is_shared_out_by_time(self, opened, following):
        """Cooling of the one, the idle kiln between, the start of the next; then once more."""
        cold = [
            Moment(at=opened.opened_at - timedelta(minutes=5 * n + 1), temp_c=50) for n in (2, 1)
        ]
        idle = [Moment(at=opened.opened_at + timedelta(hours=3), temp_c=20)]
        warm = [
            Moment(at=following.started_at + timedelta(minutes=n), temp_c=25 + n) for n in (1, 2)
        ]
        batch = [*warm, *cold, *idle]
        counts = {firing.pk: firing.readings.count() for firing in (opened, following)}
        shared = add_kiln_readings(at=LATER + timedelta(days=2), kiln=opened.kiln, readings=batch)
        assert [(one.firing, one.stored) for one in shared.received] == [
            (opened, 2),
            (following, 2),
        ]
        (nowhere,) = shared.nowhere
        assert (nowhere.first_at, nowhere.count) == (idle[0].at, 1)
        assert "was not being fired" in nowhere.reason
        again = add_kiln_readings(at=LATER + timedelta(days=2), kiln=opened.kiln, readings=batch)
        assert [(one.stored, one.already_known) for one in again.received] == [(0, 2), (0, 2)]
        for firing in (opened, following):
            assert firing.readings.count() == counts[firing.pk] + 2
            firing.refresh_from_db()
            assert firing.log_count == firing.readings.count()

    def test_a_batch_that_belongs_nowhere_is_refused_whole(self, opened):
        idle = [Moment(at=opened.opened_at + timedelta(hours=5), temp_c=19)]
        with pytest.raises(WareRefusal) as caught:
            add_kiln_readings(at=LATER + timedelta(days=2), kiln=opened.kiln, readings=idle)
        assert caught.value.code == "no_firing_running"

    def test_a_logger_that_runs_on_after_the_opening_is_told_so(self, opened):
        idle = [Moment(at=opened.opened_at + timedelta(hours=5), temp_c=19)]
        with pytest.raises(WareRefusal) as caught:
            home_of(opened.kiln, idle)
        assert (caught.value.code, caught.value.status) == ("no_firing_running", 409)

    def test_a_firing_broken_off_is_watched_while_it_cools(self, firing, cosmo):
        abort_firing(by=cosmo, at=NOON + timedelta(hours=3), firing=firing, reason="a relay stuck")
        cooling = [Moment(at=NOON + timedelta(hours=20), temp_c=90)]
        weeks_later = [Moment(at=NOON + timedelta(days=20), temp_c=19)]
        assert home_of(firing.kiln, cooling) == firing
        with pytest.raises(WareRefusal, match="not being fired"):
            home_of(firing.kiln, weeks_later)


def test_cooling_begins_when_readings_fall(firing):
    up_and_a_little_down = [r for r in scene.log() if r.at <= NOON + timedelta(hours=10)]
    firing = add(firing, up_and_a_little_down).firing
    assert firing.state == FiringState.COOLING
    assert firing.log_peak_c == 1060


def test_a_firing_that_still_rises_does_not_cool(firing):
    assert add(firing, scene.log()[:12]).firing.state == FiringState.FIRING


def test_crew_are_told_once_when_three_readings_are_at_the_limit(firing, cosmo):
    readings = scene.log()
    almost = add(firing, readings[:-1]).firing
    assert almost.state == FiringState.COOLING
    firing = add(firing, readings[-1:]).firing
    assert firing.state == FiringState.COOLED
    add(firing, [replace(readings[-1], at=readings[-1].at + timedelta(minutes=30))])
    notice = Notice.objects.get(kind="cooled")
    assert (notice.person, notice.facts["temp_c"]) == (cosmo, 45)


def test_a_persons_pyrometer_needs_only_one_reading(firing, cosmo):
    begin_cooling(by=cosmo, at=NOON + timedelta(hours=9), firing=firing)
    reading = [Moment(at=NOON + timedelta(hours=30), temp_c=40)]
    assert add(firing, reading, source="hand", by=cosmo).firing.state == FiringState.COOLED


def test_a_persons_reading_undoes_no_logger_that_is_above_the_limit(firing, cosmo):
    """The logger still says 60; a person measured 50 somewhere inside."""
    logged = scene.log(end_c=60)
    add(firing, logged)
    at = logged[-1].at + timedelta(minutes=1)
    firing = add(firing, [Moment(at=at, temp_c=50)], source="hand", by=cosmo).firing
    assert firing.state == FiringState.COOLING


def test_a_persons_reading_counts_once_the_logger_is_silent(firing, cosmo):
    logged = scene.log(end_c=60)
    add(firing, logged)
    at = logged[-1].at + timedelta(minutes=31)
    firing = add(firing, [Moment(at=at, temp_c=50)], source="hand", by=cosmo).firing
    assert (firing.state, firing.cooled_at) == (FiringState.COOLED, at)


def test_a_reading_by_hand_of_an_earlier_hour_cools_nothing(firing, cosmo):
    """The cold reading of the start is typed late, while the kiln is at its hottest."""
    add(firing, [r for r in scene.log() if r.at <= NOON + timedelta(hours=10)])
    early = [Moment(at=NOON + timedelta(minutes=1), temp_c=21)]
    assert add(firing, early, source="hand", by=cosmo).firing.state == FiringState.COOLING


def test_a_log_that_begins_cold_cools_nothing(firing, cosmo):
    """Crew said that it cools; then the first part of its log comes in."""
    begin_cooling(by=cosmo, at=NOON + timedelta(hours=9), firing=firing)
    cold = [Moment(at=NOON + timedelta(minutes=n), temp_c=20 + n) for n in range(4)]
    assert add(firing, cold, source="file", by=cosmo).firing.state == FiringState.COOLING


def test_the_hottest_zone_decides(firing):
    readings = scene.log()
    hot_top = [replace(r, zone2_c=r.temp_c + 60) for r in readings]
    assert add(firing, hot_top).firing.state == FiringState.COOLING


def test_opening_above_the_limit_needs_a_reason(firing, cosmo):
    begin_cooling(by=cosmo, at=NOON + timedelta(hours=9), firing=firing)
    with pytest.raises(WareRefusal) as caught:
        open_firing(by=cosmo, at=LATER, firing=firing, temp_c=120)
    assert caught.value.code == "hotter_than_limit"
    assert "52.0\u00a0°C or below" in caught.value.message
    assert "hands can burn" in caught.value.message
    firing = open_firing(by=cosmo, at=LATER, firing=firing, temp_c=120, reason="wedding gift")
    assert (firing.state, firing.opening_reason) == (FiringState.OPENED, "wedding gift")


def test_a_whole_log_ends_cooled_even_when_its_last_readings_waver(firing):
    *readings, last = scene.log()
    wavering = [*readings, replace(last, temp_c=last.temp_c + 0.4)]
    assert add(firing, wavering, source="file").firing.state == FiringState.COOLED


def test_a_tenth_above_the_limit_does_not_read_as_the_limit_and_speaks_the_readers_degrees(
    firing, cosmo
):
    begin_cooling(by=cosmo, at=NOON + timedelta(hours=9), firing=firing)
    cosmo.temperature_unit = "F"
    with pytest.raises(WareRefusal) as caught:
        open_firing(by=cosmo, at=LATER, firing=firing, temp_c=52.2)
    # 52.2 x 1.8 + 32 = 125.96; 52 x 1.8 + 32 = 125.6
    assert "126.0\u00a0°F was measured; this studio opens at 125.6\u00a0°F" in caught.value.message
