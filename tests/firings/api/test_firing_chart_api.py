"""The chart of a firing by API: its columns, what is new of them, and who reads how much."""

from dataclasses import replace
from datetime import timedelta

import pytest

from firings.actions.readings import add_firing_readings
from firings.calculations.readings import Reading as Moment
from firings.models import Alarm, Firing
from tests import scene
from tests.firings.pages.crew_scene import client_of, make_way, queries_of


@pytest.fixture
def way(db):
    return make_way()


def chart_of(client, firing, **asked):
    answer = client.get(f"/api/v1/firings/{firing.pk}/chart/", asked)
    assert answer.status_code == 200
    return answer.json()


def log_until(started_at, until, **fields):
    return [
        replace(reading, **fields)
        for reading in scene.log(started_at, step_minutes=10)
        if reading.at <= until
    ]


def earlier_firing(way, days_ago, **fields):
    """A closed firing of the same kind, with its log; members have no ware in it."""
    started_at = way.now - timedelta(days=days_ago)
    alike = {"kiln": way.kiln, "stage": "bisque", "cone": "04", "planned_for": started_at}
    firing = Firing.objects.create(
        **{**alike, **fields}, state="opened", started_at=started_at, opened_at=way.now
    )
    readings = scene.log(started_at, step_minutes=30)
    add_firing_readings(by=None, at=way.now, firing=firing, readings=readings, source="logger")
    Firing.objects.filter(pk=firing.pk).update(state="closed", closed_at=way.now)
    return firing


def test_a_hot_firing_tells_its_columns_stages_and_limit(way):
    firing = way.started(hours_ago=4)
    readings = log_until(firing.started_at, way.now, zone2_c=200, set_point_c=333.33)
    add_firing_readings(by=None, at=way.now, firing=firing, readings=readings, source="logger")
    chart = chart_of(client_of(way.crew), firing)
    columns = chart["readings"]
    assert set(columns) == {"at_unix_s", "temp_c", "zone2_c", "set_point_c"}
    # The made-up log rises from 20 to 1060 C in eight hours: 540 C after four.
    assert columns["temp_c"][0] == 20
    assert columns["temp_c"][-1] == 540
    assert columns["set_point_c"] == [333.3] * len(columns["temp_c"])
    assert columns["at_unix_s"][-1] - columns["at_unix_s"][0] == 4 * 3600
    assert [stage["name"] for stage in chart["stages"]] == ["drying", "burn_off", "quartz", "top"]
    assert chart["limit_c"] == 52
    assert (chart["state"], chart["is_whole"]) == ("firing", True)


def test_while_it_cools_there_is_a_band_down_to_the_limit(way):
    chart = chart_of(client_of(way.crew), way.cooling())
    assert chart["band"][-1]["low_c"] <= 52
    assert all(one["low_c"] <= one["likely_c"] <= one["high_c"] for one in chart["band"])
    burn_off = next(stage for stage in chart["stages"] if stage["name"] == "burn_off")
    assert burn_off["until_at"] is not None


def test_only_what_is_new_is_told_when_asked_so(way):
    firing, client = way.cooling(), client_of(way.crew)
    earlier_firing(way, 40)
    since = (way.now - timedelta(minutes=35)).isoformat()
    chart = chart_of(client, firing, since=since)
    assert len(chart["readings"]["temp_c"]) == 4
    assert (chart["is_whole"], chart["earlier"]) == (False, [])
    assert len(chart["stages"]) == 4


def test_at_most_five_earlier_firings_of_the_same_kind_stand_behind(way):
    alike = [earlier_firing(way, days) for days in (70, 60, 50, 40, 30, 20)]
    earlier_firing(way, 35, cone="6")
    earlier_firing(way, 36, schedule=[{"rate_c_per_h": 60, "target_c": 1060}])
    firing = way.hot()
    chart = chart_of(client_of(way.crew), firing)
    assert [one["firing"] for one in chart["earlier"]] == [one.pk for one in alike[:0:-1]]
    first = chart["earlier"][0]
    assert (first["seconds"][0], first["temp_c"][0]) == (0, 20)
    assert max(first["temp_c"]) == 1060
    assert len(first["temp_c"]) <= 120


def test_a_member_sees_no_alarms_and_no_firing_of_others(way):
    earlier_firing(way, 40)
    firing = way.hot()
    Alarm.objects.create(
        firing=firing, kind="room", raised_at=way.now, evidence={}, sentence="41 °C"
    )
    crew, member = client_of(way.crew), client_of(way.member)
    told = chart_of(crew, firing)
    assert [one["words"] for one in told["alarms"]] == ["The room is too hot"]
    assert len(told["earlier"]) == 1
    seen = chart_of(member, firing)
    assert (seen["alarms"], seen["earlier"]) == ([], [])
    assert seen["readings"] == told["readings"]


def test_who_has_no_ware_in_it_finds_no_chart(way):
    stranger = client_of(scene.person("Uta"))
    assert stranger.get(f"/api/v1/firings/{way.hot().pk}/chart/").status_code == 404


def test_before_the_start_the_chart_is_empty(way):
    chart = chart_of(client_of(way.crew), way.planned())
    assert chart["readings"] == {"at_unix_s": [], "temp_c": []}
    assert (chart["started_at"], chart["band"], chart["alarms"]) == (None, [], [])


@pytest.mark.parametrize("asked", [{"since": "yesterday"}, {"points": "3"}])
def test_what_cannot_be_asked_is_refused(way, asked):
    answer = client_of(way.crew).get(f"/api/v1/firings/{way.hot().pk}/chart/", asked)
    assert answer.status_code == 400


def test_a_long_log_is_told_in_few_points_with_its_peak_and_as_few_queries(way):
    client, firing = client_of(way.crew), way.started(hours_ago=20)
    short = log_until(firing.started_at, way.now - timedelta(hours=19))
    add_firing_readings(by=None, at=way.now, firing=firing, readings=short, source="file")
    path = f"/api/v1/firings/{firing.pk}/chart/"
    with_few = queries_of(client, path)
    # Two readings a second for 14 hours: 100,000.
    start = firing.started_at + timedelta(hours=1, minutes=5)
    step = timedelta(milliseconds=500)
    long = [Moment(start + n * step, 160.0 + n / 100) for n in range(100_000)]
    long[70_000] = replace(long[70_000], temp_c=1301.5)
    add_firing_readings(by=None, at=way.now, firing=firing, readings=long, source="file")
    temps = chart_of(client, firing)["readings"]["temp_c"]
    assert len(temps) <= 600
    assert 1301.5 in temps
    assert queries_of(client, path) == with_few == 11
