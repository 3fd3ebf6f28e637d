"""A firing over the API, from plan to pick-up shelf."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from firings.models import Booking, Firing
from studio.models import Person
from tests import scene

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("nobody_listens")]

FIRINGS = "/api/v1/firings/"


def client_of(person: Person) -> APIClient:
    client = APIClient()
    client.force_authenticate(person)
    return client


@pytest.fixture
def crew() -> APIClient:
    return client_of(scene.crew())


@pytest.fixture
def kiln() -> Any:
    return scene.kiln()


def plan(kiln: Any, **fields: Any) -> dict[str, Any]:
    when = timezone.now() + timedelta(hours=2)
    return {
        "kiln": kiln.pk,
        "stage": "bisque",
        "cone": "04",
        "planned_for": when.isoformat(),
        **fields,
    }


def planned(crew: APIClient, kiln: Any, **fields: Any) -> str:
    answer = crew.post(FIRINGS, plan(kiln, **fields))
    assert answer.status_code == 201
    return f"{FIRINGS}{answer.data['id']}/"


def booking_of(member: Person) -> Booking:
    return scene.booking(member, at=timezone.now())


def test_a_load_is_fired_from_plan_to_pick_up_shelf(crew, kiln):
    mia = scene.person("Mia")
    ware = booking_of(mia)
    path = planned(crew, kiln, schedule=[{"rate_c_per_h": 100, "target_c": 1060}])
    assert crew.post(f"{path}begin-loading/").data["state"] == "loading"
    proposal = crew.post(f"{path}fill-load/").data
    assert (proposal["placed"], proposal["left_out"]) == ([ware.pk], [])
    [layer, *_] = crew.get(f"{path}layout/").data
    assert {one["slip"] for one in layer["placements"]} == {ware.slip}

    check = [item["code"] for item in crew.get(f"{path}start-check/").data]
    missing = crew.post(f"{path}start/", {"ticked": check[1:]})
    assert (missing.status_code, missing.data["code"]) == (409, "check_not_complete")
    started = crew.post(f"{path}start/", {"ticked": check, "register_start_wh": 1_000_000})
    assert started.data["state"] == "firing"
    assert crew.post(f"{path}begin-cooling/").data["state"] == "cooling"

    hot = crew.post(f"{path}open/", {"temp_c": 180})
    assert (hot.status_code, hot.data["code"], hot.data["facts"]) == (
        409, "hotter_than_limit", {"limit_c": 52},
    )  # fmt: skip
    cones = [{"layer": 1, "cone": "04", "bend": "0.9"}]
    assert crew.post(f"{path}open/", {"temp_c": 44, "cones": cones}).data["state"] == "opened"
    broken = {"piece": ware.pieces.first().pk, "outcome": "broken", "note": "handle"}
    shelved = crew.post(
        f"{path}shelve/", {"booking": ware.pk, "place": "Shelf B", "outcomes": [broken]}
    )
    assert (shelved.data["state"], shelved.data["pick_up_place"]) == ("ready", "Shelf B")
    moved = crew.post(f"/api/v1/bookings/{ware.pk}/put-right/", {"place": "Shelf C"})
    assert (moved.data["state"], moved.data["pick_up_place"]) == ("ready", "Shelf C")

    backwards = crew.post(f"{path}close/", {"result": "reached", "register_end_wh": 999_999})
    assert (backwards.status_code, backwards.data["code"]) == (400, "meter_runs_backwards")
    closed = crew.post(f"{path}close/", {"result": "reached", "register_end_wh": 1_030_000})
    # 1,030,000 - 1,000,000 Wh on the meter
    assert (closed.data["state"], closed.data["energy_wh"]) == ("closed", 30_000)
    assert closed.data["witness_cones"] == [
        {"layer": 1, "position": "", "role": "firing", "cone": "04", "bend": "0.90"}
    ]
    collected = client_of(mia).post(f"/api/v1/bookings/{ware.pk}/collect/")
    assert collected.data["state"] == "collected"


def test_announced_cancelled_and_aborted(crew, kiln):
    path = planned(crew, kiln)
    assert crew.post(f"{path}announce/").data["state"] == "open"
    assert crew.post(f"{path}cancel/", {}).data["fields"]["reason"]
    cancelled = crew.post(f"{path}cancel/", {"reason": "No power today."})
    assert cancelled.data["state"] == "cancelled"
    again = crew.post(f"{path}announce/")
    assert (again.status_code, again.data["code"]) == (409, "wrong_state")

    booking_of(scene.person("Mia"))
    person = Person.objects.get(name="Cosmo")
    firing = scene.started(
        person, scene.loading(person, kiln, at=timezone.now()), at=timezone.now()
    )
    aborted = crew.post(f"{FIRINGS}{firing.pk}/abort/", {"reason": "A fuse went."})
    assert aborted.data["state"] == "aborted"


def test_one_booking_is_put_in_and_taken_out(crew, kiln):
    ware = booking_of(scene.person("Mia"))
    path = planned(crew, kiln)
    assert crew.post(f"{path}put-in/", {"booking": ware.pk}).data["placed"] == [ware.pk]
    twice = crew.post(f"{path}put-in/", {"booking": ware.pk})
    assert (twice.status_code, twice.data["code"]) == (409, "not_waiting")
    assert crew.post(f"{path}take-out/", {"booking": ware.pk}).status_code == 200
    ware.refresh_from_db()
    assert (ware.state, ware.firing_id) == ("waiting", None)
    assert crew.post(f"{path}put-in/", {"booking": 10**9}).status_code == 404
    astray = crew.post(f"{path}shelve/", {"booking": ware.pk, "place": "B"})
    assert (astray.status_code, astray.data["code"]) == (404, "not_found")


def test_a_member_reads_firings_and_changes_none(crew, kiln):
    mia, otto = scene.person("Mia"), scene.person("Otto")
    mine, others = booking_of(mia), booking_of(otto)
    path = planned(crew, kiln)
    crew.post(f"{path}begin-loading/")
    crew.post(f"{path}fill-load/")
    member = client_of(mia)
    assert member.get(path).data["state"] == "loading"
    deeds: dict[str, dict[str, Any]] = {
        "announce/": {},
        "begin-loading/": {},
        "fill-load/": {},
        "put-in/": {"booking": mine.pk},
        "take-out/": {"booking": mine.pk},
        "start/": {"ticked": []},
        "begin-cooling/": {},
        "open/": {"temp_c": 40},
        "shelve/": {"booking": mine.pk, "place": "B"},
        "close/": {"result": "reached"},
        "abort/": {"reason": "no"},
        "cancel/": {"reason": "no"},
    }
    for deed, sent in deeds.items():
        answer = member.post(path + deed, sent)
        assert (deed, answer.status_code) == (deed, 403)
    assert member.post(f"{path}take-out/", {"booking": others.pk}).status_code == 404
    assert member.get(f"{path}start-check/").status_code == 403
    assert member.post(FIRINGS, plan(kiln)).status_code == 403
    assert Firing.objects.get().state == "loading"


def test_a_plan_is_seen_once_announced_and_its_note_by_crew_only(crew, kiln):
    path = planned(crew, kiln, note="Ask Otto about the tall vase.")
    member = client_of(scene.person("Mia"))
    assert member.get(path).status_code == 404
    assert member.get(FIRINGS).data["count"] == 0
    crew.post(f"{path}announce/")
    assert member.get(path).data["note"] == ""
    assert [one["note"] for one in member.get(FIRINGS).data["results"]] == [""]
    assert crew.get(path).data["note"] == "Ask Otto about the tall vase."


def test_a_log_is_read_by_crew_and_by_whose_ware_is_in_it(crew, kiln):
    mia = scene.person("Mia")
    booking_of(mia)
    path = planned(crew, kiln)
    crew.post(f"{path}fill-load/")
    readers = (crew, client_of(mia), client_of(scene.person("Otto")))
    for room in ("readings/", "curve/"):
        assert [one.get(path + room).status_code for one in readers] == [200, 200, 404]


def test_a_schedule_comes_back_as_it_was_planned_on_the_page(crew, kiln):
    ramp = {"rate_c_per_h": 100.0, "target_c": 600.0, "hold_minutes": 15}
    path = planned(crew, kiln, schedule=[ramp])
    assert Firing.objects.get().schedule == [ramp]
    assert crew.get(path).data["schedule"] == [ramp]


def test_a_member_sees_only_their_own_slips_in_a_load(crew, kiln):
    mia = scene.person("Mia")
    mine, others = booking_of(mia), booking_of(scene.person("Otto"))
    path = planned(crew, kiln)
    crew.post(f"{path}fill-load/")

    def slips(client: APIClient) -> set[str | None]:
        layers = client.get(f"{path}layout/").data
        return {one["slip"] for layer in layers for one in layer["placements"]}

    assert slips(crew) == {mine.slip, others.slip}
    assert slips(client_of(mia)) == {mine.slip, None}
    names = {
        (one["slip"], one["name"])
        for layer in client_of(mia).get(f"{path}layout/").data
        for one in layer["placements"]
    }
    assert names == {(mine.slip, "Mug"), (None, None)}


@pytest.mark.parametrize(
    ("fields", "status", "code"),
    [
        ({"planned_for": "2020-01-01T00:00:00Z"}, 409, "planned_in_the_past"),
        ({"planned_for": "2999-01-01T00:00:00Z"}, 409, "planned_too_far"),
        ({"planned_for": "2026-03-02T12:00"}, 400, "invalid"),
        ({"cone": "8"}, 409, "above_cone_limit"),
        ({"kiln": 999_999}, 400, "invalid"),
        ({"schedule": [{"rate_f_per_h": 100, "target_c": 1000}]}, 400, "invalid"),
        ({"schedule": [{"rate_c_per_h": -100, "target_c": 1000}]}, 400, "invalid"),
        ({"schedule": [{"rate_c_per_h": "nan", "target_c": 1000}]}, 400, "invalid"),
        ({"schedule": [{"rate_c_per_h": 100, "target_c": 9000}]}, 400, "invalid"),
    ],
)
def test_a_bad_plan_is_refused(crew, kiln, fields, status, code):
    kiln.cone_limit = "6"
    kiln.save()
    answer = crew.post(FIRINGS, {**plan(kiln), **fields})
    assert (answer.status_code, answer.data["code"]) == (status, code)
    assert not Firing.objects.exists()


@pytest.mark.parametrize(
    "sent",
    [
        {"temp_c": 9000},
        {"temp_c": "cool"},
        {"temp_f": 100},
        {"temp_c": 40, "cones": [{"layer": 1, "cone": "04", "bend": "1.5"}]},
        {"temp_c": 40, "cones": [{"layer": -1, "cone": "04", "bend": "1"}]},
        {},
    ],
)
def test_an_opening_that_cannot_be_is_refused(crew, kiln, sent):
    answer = crew.post(f"{planned(crew, kiln)}open/", sent)
    assert (answer.status_code, answer.data["code"]) == (400, "invalid")


def test_the_list_asks_as_often_for_three_as_for_one(crew, kiln):
    counts = []
    for _ in range(2):
        planned(crew, kiln)
        with CaptureQueriesContext(connection) as asked:
            found = crew.get(FIRINGS, {"kiln": kiln.pk, "state": "planned"}).data["count"]
        counts.append((found, len(asked)))
        planned(crew, kiln)
    assert [found for found, _ in counts] == [1, 3]
    assert counts[0][1] == counts[1][1]
    assert crew.get(FIRINGS, {"state": "hot"}).status_code == 400
