"""Alarms where crew see them: the firing, kilns now, home, the kiln; and when the watch speaks."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.utils import timezone

from firings.actions.cool_down import begin_cooling
from firings.actions.readings import add_firing_readings
from firings.calculations.readings import Reading as Moment
from firings.models import Alarm, FiringState, WatchLimits
from firings.tasks import watch_silent_kilns
from studio.models import Role, RoleHolding
from tests import scene
from tests.firings.pages.crew_scene import client_of, queries_of


@pytest.fixture
def fallen(way):
    """A firing that climbed to 520 C and fell to 400 C in the last hour."""
    firing = way.started(hours_ago=6)
    readings = [
        Moment(firing.started_at + timedelta(minutes=5 * n), 20 + 500 * n / 60) for n in range(61)
    ]
    readings += [
        Moment(readings[-1].at + timedelta(minutes=5 * n), 520 - 10 * n) for n in range(1, 12)
    ]
    add_firing_readings(by=None, at=way.now, firing=firing, readings=readings, source="logger")
    firing.refresh_from_db()
    return firing


@pytest.fixture
def alarm(fallen):
    return Alarm.objects.get()


def test_the_firing_says_what_was_measured_and_who_decides(crew_client, alarm):
    page = crew_client.get(f"/firings/{alarm.firing_id}/").content.decode()
    live = page[page.index('id="live"') :]
    assert f'<div id="alarms-{alarm.pk}" class="stack alarms" role="alert"' in live
    assert "Falls while it should rise" in live
    assert "after 520.0\N{NO-BREAK SPACE}°C" in live
    assert "You, on the spot, decide." in live
    assert "Disconnect the kiln at its isolator before reaching" in live
    assert 'class="button quiet gloves"' in live
    assert " safe" not in page.lower()


def test_in_the_degrees_of_the_reader(way, crew_client, alarm):
    way.crew.temperature_unit = "F"
    way.crew.save()
    # 520 x 1.8 + 32 = 968: NIST SP 811, B.8
    assert (
        "after 968.0\N{NO-BREAK SPACE}°F"
        in crew_client.get(f"/firings/{alarm.firing_id}/live/?state=firing").content.decode()
    )


def test_acknowledged_it_names_the_person_and_asks_no_more(way, crew_client, alarm):
    answer = crew_client.post(f"/alarms/{alarm.pk}/acknowledge/", {"remark": "Lid was open"})
    assert (answer.status_code, answer.url) == (303, f"/firings/{alarm.firing_id}/")
    page = crew_client.get(answer.url).content.decode()
    assert f'id="alarms-{alarm.pk}a"' in page
    assert "Cosmo has seen it" in page
    assert "Lid was open" in page
    assert "I have seen it" not in page


def test_acknowledging_twice_is_told(crew_client, alarm):
    for _ in range(2):
        answer = crew_client.post(f"/alarms/{alarm.pk}/acknowledge/", follow=True)
    assert "has acknowledged this alarm already" in answer.content.decode()


def test_a_member_sees_no_alarm_and_may_not_acknowledge(way, alarm):
    client = client_of(way.member)
    page = client.get(f"/firings/{alarm.firing_id}/").content.decode()
    assert "Falls while it should rise" not in page
    assert client.post(f"/alarms/{alarm.pk}/acknowledge/").status_code == 403
    assert client_of(scene.treasurer()).post(f"/alarms/{alarm.pk}/acknowledge/").status_code == 403


def test_it_stands_on_kilns_now_at_home_and_on_the_kiln(crew_client, alarm):
    for path in ("/kilns-now/", "/", f"/kilns/{alarm.firing.kiln_id}/"):
        assert "Falls while it should rise" in crew_client.get(path).content.decode(), path


def test_what_is_over_is_history(way, crew_client, alarm):
    begin_cooling(by=way.crew, at=timezone.now(), firing=alarm.firing)
    page = crew_client.get(f"/firings/{alarm.firing_id}/").content.decode()
    assert "Alarms that are over" in page
    assert "acknowledged by nobody" in page
    assert 'role="alert"' not in page
    assert "Falls while it should rise" not in crew_client.get("/").content.decode()


def test_queries_do_not_grow_with_alarms(crew_client, alarm):
    pages = [f"/firings/{alarm.firing_id}/", "/", "/kilns-now/", f"/kilns/{alarm.firing.kiln_id}/"]
    with_one = [queries_of(crew_client, path) for path in pages]
    for kind in ("room", "late", "no_data"):
        evidence = {"temp_c": 41.0, "limit_c": 38.0, "minutes": 70.0}
        alarm.firing.alarms.create(kind=kind, raised_at=alarm.raised_at, evidence=evidence)
    assert [queries_of(crew_client, path) for path in pages] == with_one


def test_it_goes_on_with_a_reason(way, crew_client, alarm):
    begin_cooling(by=way.crew, at=timezone.now(), firing=alarm.firing)
    path = f"/firings/{alarm.firing_id}/resume/"
    assert path in crew_client.get(f"/firings/{alarm.firing_id}/").content.decode()
    assert "Writing this switches nothing on" in crew_client.get(path).content.decode()
    assert crew_client.post(path, {"reason": ""}).status_code == 422
    assert crew_client.post(path, {"reason": "The power is back"}).status_code == 303
    alarm.firing.refresh_from_db()
    assert alarm.firing.state == FiringState.FIRING
    again = crew_client.post(path, {"reason": "once more"})
    assert again.status_code == 409
    assert "must be cooling" in again.content.decode()


def test_only_crew_say_that_it_goes_on(alarm):
    assert client_of(scene.manager("Mika")).get(
        f"/firings/{alarm.firing_id}/resume/"
    ).status_code == 403  # fmt: skip


class TestWhenTheWatchSpeaks:
    @pytest.fixture
    def chief(self, way):
        return client_of(scene.person("Mika", Role.MANAGER))

    def filled(self, **changed):
        fields = {
            "stall_percent": 70, "stall_minutes": 45, "off_set_point_c": 40,
            "off_set_point_minutes": 20, "overshoot_c": 20, "fall_c": 10, "no_data_minutes": 20,
            "late_percent": 30, "top_margin_c": 30, "zone_spread_c": 50,
            "room_limit_c_0": "", "control_box_limit_c_0": "",
        }  # fmt: skip
        return {**fields, **changed}

    def test_defaults_stand_with_their_sources(self, way, chief):
        page = chief.get(f"/kilns/{way.kiln.pk}/watch/").content.decode()
        assert "Common practice, no source" in page
        assert (
            f"/kilns/{way.kiln.pk}/watch/" in chief.get(f"/kilns/{way.kiln.pk}/").content.decode()
        )

    def test_they_are_saved(self, way, chief):
        answer = chief.post(f"/kilns/{way.kiln.pk}/watch/", self.filled(fall_c=25))
        assert answer.status_code == 303
        limits = WatchLimits.objects.get(kiln=way.kiln)
        assert (limits.fall_c, limits.room_limit_c) == (25, None)

    def test_what_cannot_be_is_asked_again(self, way, chief):
        answer = chief.post(f"/kilns/{way.kiln.pk}/watch/", self.filled(fall_c=1))
        assert answer.status_code == 422
        assert not WatchLimits.objects.exists()

    def test_crew_do_not_set_them(self, way, crew_client):
        assert crew_client.get(f"/kilns/{way.kiln.pk}/watch/").status_code == 403


def test_the_clock_task_finds_a_silent_logger(way):
    firing = way.started(hours_ago=2)
    last = Moment(firing.started_at + timedelta(minutes=30), 60)
    add_firing_readings(by=None, at=last.at, firing=firing, readings=[last], source="logger")
    assert watch_silent_kilns() == 1
    assert Alarm.objects.get().kind == "no_data"


class TestApi:
    def test_alarms_are_listed_and_acknowledged(self, crew_client, alarm):
        found = crew_client.get("/api/v1/alarms/?is_open=true").json()["results"]
        assert [(one["id"], one["kind"], one["evidence"]["peak_c"]) for one in found] == [
            (alarm.pk, "falling", 520.0)
        ]
        path = f"/api/v1/alarms/{alarm.pk}/acknowledge/"
        seen = crew_client.post(path, {"remark": "Lid"}, content_type="application/json")
        assert (seen.status_code, seen.json()["remark"]) == (200, "Lid")
        assert crew_client.post(path, content_type="application/json").status_code == 409
        for narrow in ("is_open=false", "kiln=999", "firing=999"):
            assert crew_client.get(f"/api/v1/alarms/?{narrow}").json()["results"] == []

    def test_members_read_none(self, way, alarm):
        assert client_of(way.member).get("/api/v1/alarms/").status_code == 403

    def test_a_treasurer_reads_but_does_not_acknowledge(self, alarm):
        client = client_of(scene.treasurer())
        assert client.get(f"/api/v1/alarms/{alarm.pk}/").status_code == 200
        assert client.post(f"/api/v1/alarms/{alarm.pk}/acknowledge/").status_code == 403

    def test_it_goes_on(self, way, crew_client, alarm):
        path = f"/api/v1/firings/{alarm.firing_id}/resume/"
        sent = {"reason": "The power is back"}
        refused = crew_client.post(path, sent, content_type="application/json")
        assert refused.status_code == 409
        begin_cooling(by=way.crew, at=timezone.now(), firing=alarm.firing)
        answer = crew_client.post(path, sent, content_type="application/json")
        assert (answer.status_code, answer.json()["state"]) == (200, "firing")

    def test_limits_are_read_and_set(self, way, crew_client):
        path = f"/api/v1/kilns/{way.kiln.pk}/watch/"
        assert crew_client.get(path).json()["stall_percent"] == 70
        assert crew_client.patch(
            path, {"fall_c": 25}, content_type="application/json"
        ).status_code == 403  # fmt: skip
        RoleHolding.objects.create(person=way.crew, role=Role.MANAGER)
        answer = crew_client.patch(path, {"fall_c": 25}, content_type="application/json")
        assert (answer.status_code, answer.json()["fall_c"]) == (200, 25)
        for wrong in ({"fall_c": 1}, {"fall_f": 45}):
            assert (
                crew_client.patch(path, wrong, content_type="application/json").status_code == 400
            )
