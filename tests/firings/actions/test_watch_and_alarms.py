"""Alarms: raised once, acknowledged once, over when over; and what a power cut does to a firing."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from firings.actions.alarms import acknowledge_alarm
from firings.actions.cool_down import begin_cooling, resume_firing
from firings.actions.end_firing import abort_firing
from firings.actions.kilns import issue_kiln_token
from firings.actions.open_and_unload import open_firing
from firings.actions.readings import add_firing_readings
from firings.actions.watch import limits_of, plan_for, set_watch_limits, watch_of, watch_silence
from firings.calculations.readings import Reading as Moment
from firings.models import Alarm, Firing, FiringPolicy, FiringState, WatchLimits
from firings.refusals import WareRefusal
from studio.models import Notice, TrailEntry
from studio.refusals import Denied
from tests import scene
from tests.scene import NOON

pytestmark = pytest.mark.django_db


@pytest.fixture
def cosmo():
    return scene.crew()


@pytest.fixture
def firing(cosmo):
    kiln = scene.kiln()
    scene.booking(scene.person("Ines"))
    return scene.started(cosmo, scene.loading(cosmo, kiln))


def ramp(first_min, last_min, first_c, last_c, step_min=5):
    """A straight line of readings, every five minutes."""
    steps = (last_min - first_min) // step_min
    return [
        Moment(NOON + timedelta(minutes=first_min + step_min * n),
               round(first_c + (last_c - first_c) * n / steps, 1))
        for n in range(steps + 1)
    ]  # fmt: skip


UP = ramp(0, 300, 20, 520)
CUT = ramp(305, 365, 500, 400)
AGAIN = ramp(370, 430, 420, 560)


def add(firing, readings, *, source="logger", by=None):
    at = readings[-1].at + timedelta(seconds=20)
    received = add_firing_readings(by=by, at=at, firing=firing, readings=readings, source=source)
    return received.firing


def letters():
    return Notice.objects.filter(kind="alarm").count()


class TestAPowerCut:
    def test_it_does_not_end_the_firing(self, firing):
        firing = add(add(firing, UP), CUT)
        assert firing.state == FiringState.FIRING
        alarm = Alarm.objects.get()
        assert (alarm.kind, alarm.cleared_at) == ("falling", None)
        assert "was measured, after 520.0\u00a0°C" in alarm.sentence

    def test_one_letter_to_each_of_the_crew(self, firing):
        scene.crew("Runa")
        firing = add(add(firing, UP), CUT)
        assert letters() == 2
        add(firing, ramp(370, 400, 390, 340))
        assert (letters(), Alarm.objects.count()) == (2, 1)

    def test_rising_again_clears_it(self, firing):
        firing = add(add(add(firing, UP), CUT), AGAIN)
        alarm = Alarm.objects.get()
        assert firing.state == FiringState.FIRING
        assert NOON + timedelta(minutes=370) < alarm.cleared_at < NOON + timedelta(minutes=430)

    def test_a_second_cut_is_a_second_alarm(self, firing):
        firing = add(add(add(firing, UP), CUT), AGAIN)
        add(firing, ramp(435, 470, 540, 460))
        assert Alarm.objects.open().count() == 1
        assert Alarm.objects.count() == 2
        assert letters() == 2

    def test_what_is_over_in_the_same_batch_wakes_nobody(self, firing):
        add(firing, [*UP, *CUT, *AGAIN])
        assert (Alarm.objects.count(), Alarm.objects.open().count(), letters()) == (1, 0, 0)

    def test_a_person_may_say_that_it_is_over(self, firing, cosmo):
        firing = add(add(firing, UP), CUT)
        firing = begin_cooling(by=cosmo, at=CUT[-1].at, firing=firing)
        assert firing.state == FiringState.COOLING
        assert not Alarm.objects.open().exists()

    def test_cold_again_it_is_over_whoever_was_away(self, firing):
        """520 C and down to the opening limit: an alarm told of it hours ago."""
        firing = add(add(firing, UP), ramp(305, 1205, 500, 44))
        assert firing.state == FiringState.COOLED
        assert Alarm.objects.filter(kind="falling").exists()

    def test_a_fall_from_the_top_ends_the_firing_by_itself(self, firing):
        firing = add(firing, [r for r in scene.log() if r.at <= NOON + timedelta(hours=10)])
        assert firing.state == FiringState.COOLING
        assert not Alarm.objects.filter(kind__in=["falling", "power_lost"]).exists()

    def test_a_late_log_raises_no_letter(self, firing):
        at = NOON + timedelta(days=1)
        add_firing_readings(by=None, at=at, firing=firing, readings=[*UP, *CUT], source="file")
        assert (Alarm.objects.count(), letters()) == (1, 0)


class TestItGoesOn:
    @pytest.fixture
    def cooling(self, firing, cosmo):
        return begin_cooling(by=cosmo, at=CUT[-1].at, firing=add(add(firing, UP), CUT))

    def test_from_cooling_back_to_firing_with_a_reason(self, cooling, cosmo):
        at = CUT[-1].at + timedelta(minutes=5)
        firing = resume_firing(by=cosmo, at=at, firing=cooling, reason="The power is back.")
        assert (firing.state, firing.cooling_at) == (FiringState.FIRING, None)
        entry = TrailEntry.objects.get(deed="goes on")
        assert (entry.by, entry.from_state, entry.why) == (cosmo, "cooling", "The power is back.")

    def test_then_it_is_judged_by_what_comes(self, cooling, cosmo):
        at = CUT[-1].at + timedelta(minutes=5)
        firing = resume_firing(by=cosmo, at=at, firing=cooling, reason="The power is back.")
        firing = add(firing, AGAIN)
        assert (firing.state, Alarm.objects.open().count()) == (FiringState.FIRING, 0)

    def test_after_the_top_it_may_go_on_and_end_again(self, firing, cosmo):
        log = [r for r in scene.log() if r.at <= NOON + timedelta(hours=10)]
        firing = add(firing, log)
        last = log[-1]
        firing = resume_firing(by=cosmo, at=last.at, firing=firing, reason="One more hold.")
        up = [replace(last, at=last.at + timedelta(minutes=10 * n), temp_c=last.temp_c + 12 * n)
              for n in range(1, 9)]  # fmt: skip
        firing = add(firing, up)
        assert firing.state == FiringState.FIRING
        down = [replace(last, at=up[-1].at + timedelta(minutes=10 * n),
                        temp_c=up[-1].temp_c - 25 * n) for n in range(1, 7)]  # fmt: skip
        assert add(firing, down).state == FiringState.COOLING

    def test_without_a_reason_it_is_refused(self, cooling, cosmo):
        with pytest.raises(WareRefusal) as caught:
            resume_firing(by=cosmo, at=NOON, firing=cooling, reason=" ")
        assert (caught.value.code, caught.value.field) == ("reason_missing", "reason")

    def test_what_is_not_cooling_is_refused(self, firing, cosmo):
        with pytest.raises(WareRefusal, match="must be cooling"):
            resume_firing(by=cosmo, at=NOON, firing=firing, reason="so")

    def test_only_crew(self, cooling):
        with pytest.raises(Denied):
            resume_firing(by=scene.manager("Mika"), at=NOON, firing=cooling, reason="so")


class TestAcknowledging:
    @pytest.fixture
    def alarm(self, firing):
        add(add(firing, UP), CUT)
        return Alarm.objects.get()

    def test_who_when_and_what_they_found(self, alarm, cosmo):
        at = NOON + timedelta(hours=7)
        alarm = acknowledge_alarm(by=cosmo, at=at, alarm=alarm, remark=" Breaker was out. ")
        assert (alarm.acknowledged_by, alarm.acknowledged_at) == (cosmo, at)
        assert (alarm.remark, alarm.cleared_at) == ("Breaker was out.", None)
        entry = TrailEntry.objects.get(deed="alarm acknowledged")
        assert entry.why == "Falls while it should rise: Breaker was out."

    def test_a_second_time_is_refused_with_who_was_first(self, alarm, cosmo):
        acknowledge_alarm(by=cosmo, at=NOON, alarm=alarm)
        with pytest.raises(WareRefusal, match="Cosmo has acknowledged") as caught:
            acknowledge_alarm(by=cosmo, at=NOON, alarm=alarm)
        assert caught.value.status == 409

    def test_a_member_is_refused(self, alarm):
        with pytest.raises(Denied):
            acknowledge_alarm(by=scene.person("Uta"), at=NOON, alarm=alarm)

    def test_a_remark_that_is_a_story_is_refused(self, alarm, cosmo):
        with pytest.raises(WareRefusal) as caught:
            acknowledge_alarm(by=cosmo, at=NOON, alarm=alarm, remark="x" * 301)
        assert caught.value.field == "remark"


def test_a_hot_room_and_control_box_alarm_crew_once_each(firing, cosmo):
    readings = [replace(r, room_c=41.0, control_box_c=70.0) for r in ramp(0, 20, 20, 55)]
    firing = add(firing, readings[:2])
    firing = add(firing, readings[2:])
    assert list(Alarm.objects.order_by("kind").values_list("kind", flat=True)) == [
        "control_box",
        "room",
    ]
    assert letters() == 2
    add(firing, [replace(r, room_c=25.0, control_box_c=40.0) for r in ramp(25, 45, 60, 90)])
    assert not Alarm.objects.open().exists()


def test_opening_and_breaking_off_end_its_alarms(firing, cosmo):
    firing = add(add(firing, UP), CUT)
    abort_firing(by=cosmo, at=CUT[-1].at, firing=firing, reason="The relay stuck.")
    assert not Alarm.objects.open().exists()


def test_an_opened_kiln_has_no_open_alarm(firing, cosmo):
    firing = begin_cooling(by=cosmo, at=NOON + timedelta(hours=1), firing=firing)
    add(firing, [replace(r, room_c=41.0) for r in ramp(0, 20, 90, 55)])
    firing.refresh_from_db()
    open_firing(by=cosmo, at=NOON + timedelta(hours=2), firing=firing, temp_c=44)
    assert not Alarm.objects.open().exists()


class TestSilence:
    def test_a_logger_that_went_quiet_is_told_once(self, firing):
        add(firing, UP)
        at = UP[-1].at
        assert watch_silence(at=at + timedelta(minutes=15)) == 0
        assert watch_silence(at=at + timedelta(minutes=25)) == 1
        assert watch_silence(at=at + timedelta(minutes=26)) == 0
        alarm = Alarm.objects.get()
        assert (alarm.kind, letters()) == ("no_data", 1)
        assert "The last was 520.0\u00a0°C." in alarm.sentence

    def test_a_reading_ends_it(self, firing):
        firing = add(firing, UP)
        watch_silence(at=UP[-1].at + timedelta(minutes=25))
        add(firing, ramp(335, 340, 575, 583))
        assert not Alarm.objects.open().exists()

    def test_a_logger_that_never_spoke_is_missed_after_an_hour(self, firing):
        chief = scene.manager("Mika")
        issue_kiln_token(by=chief, at=NOON, kiln=firing.kiln, name="Logger")
        assert watch_silence(at=NOON + timedelta(minutes=55)) == 0
        assert watch_silence(at=NOON + timedelta(minutes=65)) == 1

    def test_where_people_read_the_pyrometer_nobody_is_missed(self, firing, cosmo):
        add(firing, UP[:1], source="hand", by=cosmo)
        assert watch_silence(at=NOON + timedelta(hours=9)) == 0

    def test_what_is_not_hot_is_not_asked(self, firing, cosmo):
        add(firing, UP)
        abort_firing(by=cosmo, at=UP[-1].at, firing=firing, reason="so")
        assert watch_silence(at=NOON + timedelta(hours=9)) == 0


class TestLimits:
    @pytest.fixture
    def chief(self):
        return scene.manager("Mika")

    def test_a_kiln_without_its_own_goes_by_the_defaults_and_the_policy(self, firing):
        limits = limits_of(firing.kiln)
        policy = FiringPolicy.current()
        assert (limits.fall_c, limits.room_limit_c) == (10, policy.room_limit_c)

    def test_they_are_set_and_used(self, firing, chief):
        set_watch_limits(
            by=chief, at=NOON, kiln=firing.kiln, fields={"fall_c": 180.0, "room_limit_c": 30.0}
        )
        assert limits_of(firing.kiln).room_limit_c == 30
        add(add(firing, UP), CUT)
        assert not Alarm.objects.filter(kind="falling").exists()

    @pytest.mark.parametrize("fields", [{"fall_c": 1}, {"stall_percent": 400}, {"fall_c": None}])
    def test_what_cannot_be_is_refused_whole(self, firing, chief, fields):
        with pytest.raises(WareRefusal) as caught:
            set_watch_limits(by=chief, at=NOON, kiln=firing.kiln, fields=fields)
        assert caught.value.field == next(iter(fields))
        assert not WatchLimits.objects.exists()

    def test_only_a_manager(self, firing, cosmo):
        with pytest.raises(Denied):
            set_watch_limits(by=cosmo, at=NOON, kiln=firing.kiln, fields={})


def test_its_own_past_comes_from_closed_like_firings_only(firing):
    """Three closed firings of the same schedule give a pace; one of another schedule does not."""
    crossings = {"crossings": {"200": 6000.0, "300": 9000.0}}
    usual = {"kiln": firing.kiln, "stage": "bisque", "cone": "04", "planned_for": NOON,
             "started_at": NOON, "watch_state": crossings}  # fmt: skip
    for number in range(3):
        Firing.objects.create(**usual, state="closed", result="reached")
        assert bool(plan_for(firing).pace) == (number == 2)
    Firing.objects.filter(state="closed").update(schedule=[{"rate_c_per_h": 60, "target_c": 1060}])
    assert plan_for(firing).pace == ()


def test_readings_after_the_opening_raise_nothing_but_tell_the_pace(firing, cosmo):
    firing = begin_cooling(by=cosmo, at=NOON + timedelta(hours=9), firing=firing)
    firing = open_firing(by=cosmo, at=NOON + timedelta(hours=30), firing=firing, temp_c=44)
    firing = add(firing, [*UP, *CUT], source="file", by=cosmo)
    assert not Alarm.objects.exists()
    assert set(watch_of(firing).crossings) == {200, 300, 400, 500}
