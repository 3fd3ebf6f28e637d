"""Kilns, parts, keys, clays, glazes, sizes and rules over the API."""

from __future__ import annotations

from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from firings.models import Clay, FiringPolicy, Glaze, Kiln, KilnPart, PieceSize
from studio.models import Person
from tests import scene

pytestmark = pytest.mark.django_db

KILNS = "/api/v1/kilns/"
NEW_KILN = {
    **scene.FIRST_KILN,
    "shelves": {"shape": "round", "across_mm": 394, "thickness_mm": 16, "count": 4},
}


def client_of(person: Person) -> APIClient:
    client = APIClient()
    client.force_authenticate(person)
    return client


@pytest.fixture
def manager() -> APIClient:
    return client_of(scene.manager())


@pytest.fixture
def member() -> APIClient:
    return client_of(scene.person("Mia"))


def test_a_manager_adds_edits_and_takes_out_a_kiln(manager, member):
    made = manager.post(KILNS, NEW_KILN)
    assert made.status_code == 201
    assert made.data["state"] == "first_firing_due"
    assert [task["kind"] for task in made.data["open_care"]] == ["first_firing"]
    path = f"{KILNS}{made.data['id']}/"
    assert manager.patch(path, {"room": "Back room"}).data["room"] == "Back room"
    wider = {"shape": "half_round", "across_mm": 400, "thickness_mm": 18, "count": 8}
    sets = manager.put(f"{path}shelves/", wider).data["shelf_sets"]
    assert [one["shape"] for one in sets if one["is_standard"]] == ["half_round"]
    out = manager.post(f"{path}take-out-of-service/", {"reason": "A relay sticks."})
    assert out.data["state"] == "out_of_service"
    back = manager.post(f"{path}return-to-service/", {"needs_first_firing": False})
    assert (back.status_code, back.data["code"]) == (409, "reason_missing")
    back = manager.post(f"{path}return-to-service/", {})
    assert back.data["state"] == "first_firing_due"
    assert member.get(path).data["name"] == "Heron"


@pytest.mark.parametrize(
    ("fields", "status", "named"),
    [
        ({"chamber_height_mm": -1}, 400, "chamber_height_mm"),
        ({"chamber_across_mm": 99_999}, 400, "chamber_across_mm"),
        ({"rated_power_w": 0}, 400, "rated_power_w"),
        ({"rated_power_kw": 6}, 400, "rated_power_kw"),
        ({"chamber_height_in": 22}, 400, "chamber_height_in"),
        ({"supply_v": 0}, 400, "supply_v"),
        ({"cone_limit": "40"}, 400, "cone_limit"),
        ({"post_heights_mm": []}, 400, "post_heights_mm"),
        ({"post_heights_mm": [-5]}, 400, "post_heights_mm"),
        ({"chamber_shape": "pear"}, 400, "chamber_shape"),
        ({"shelves": {**NEW_KILN["shelves"], "across_mm": 470}}, 409, "across_mm"),
        ({"shelves": {**NEW_KILN["shelves"], "count": 0}}, 400, "shelves"),
    ],
)
def test_a_kiln_that_cannot_be_is_refused(manager, fields, status, named):
    answer = manager.post(KILNS, {**NEW_KILN, **fields})
    assert answer.status_code == status
    assert named in answer.data["fields"]
    assert not Kiln.objects.exists()


def test_a_name_is_given_once_and_a_rectangle_has_a_depth(manager):
    manager.post(KILNS, NEW_KILN)
    twice = manager.post(KILNS, NEW_KILN)
    assert (twice.status_code, list(twice.data["fields"])) == (400, ["name"])
    flat = manager.post(KILNS, {**NEW_KILN, "name": "Wren", "chamber_shape": "rectangle"})
    assert (flat.status_code, flat.data["code"]) == (400, "not_valid")
    assert Kiln.objects.count() == 1


def test_what_a_manager_does_is_not_for_members(member):
    kiln = scene.kiln()
    path = f"{KILNS}{kiln.pk}/"
    for method, where, sent in (
        ("post", KILNS, {**NEW_KILN, "name": "Wren"}),
        ("patch", path, {"room": "x"}),
        ("put", f"{path}shelves/", NEW_KILN["shelves"]),
        ("post", f"{path}take-out-of-service/", {"reason": "x"}),
        ("get", f"{path}parts/", {}),
        ("get", f"{path}keys/", {}),
        ("post", f"{path}keys/", {"name": "x"}),
        ("post", "/api/v1/clays/", {"name": "x", "cone_low": "5", "cone_high": "6"}),
        ("patch", "/api/v1/firing-policy/", {"glaze_gap_mm": 9}),
    ):
        answer = getattr(member, method)(where, sent)
        assert (where, answer.status_code) == (where, 403)


def test_a_kiln_tells_what_is_in_it_now(member):
    kiln, crew = scene.kiln(), scene.crew()
    path = f"{KILNS}{kiln.pk}/now/"
    assert member.get(path).data["firing"] is None
    now = timezone.now()
    scene.booking(scene.person("Otto"), at=now)
    firing = scene.started(crew, scene.loading(crew, kiln, at=now), at=now)
    seen = member.get(path).data
    assert (seen["firing"]["id"], seen["firing"]["state"]) == (firing.pk, "firing")
    assert seen["opening_limit_c"] == 52
    assert "Otto" not in str(seen)


def test_parts_care_and_keys(manager):
    kiln = scene.kiln()
    path = f"{KILNS}{kiln.pk}/"
    part = {
        "kind": "element",
        "name": "Six elements",
        "replacement_cost_minor": 60_000,
        "life_unit": "weighted_hours",
        "expected_life": "900",
        "fitted_on": timezone.localdate().isoformat(),
    }
    made = manager.post(f"{path}parts/", part)
    assert made.status_code == 201
    for wrong in (
        {"replacement_cost_minor": -1},
        {"replacement_cost_minor": "6.50"},
        {"expected_life": 0},
        {"fitted_on": "2999-01-01"},
    ):
        assert manager.post(f"{path}parts/", {**part, **wrong}).status_code in (400, 409)
    fitted = manager.post(f"{path}parts/{made.data['id']}/replace/", {"reason": "Burnt out."})
    assert fitted.data["id"] != made.data["id"]
    assert KilnPart.objects.filter(retired_on=None).count() == 1
    [task] = manager.get(f"{path}care/").data["results"]
    done = manager.post(f"{path}care/{task['id']}/finish/")
    assert (task["kind"], done.status_code, done.data["code"]) == (
        "first_firing", 409, "fire_it",
    )  # fmt: skip

    key = manager.post(f"{path}keys/", {"name": "Logger"})
    assert len(key.data["secret"]) > 40
    listed = manager.get(f"{path}keys/").data["results"]
    assert [one["name"] for one in listed] == ["Logger"]
    assert "secret" not in listed[0]
    other = scene.kiln(name="Wren")
    astray = manager.post(f"{KILNS}{other.pk}/keys/{key.data['id']}/revoke/")
    assert astray.status_code == 404
    assert manager.post(f"{path}keys/{key.data['id']}/revoke/").data["revoked_at"]
    assert manager.get(f"{KILNS}999999/parts/").status_code == 404


def test_clays_glazes_and_sizes(manager, member):
    ranges = {"cone_low": "5", "cone_high": "6"}
    clay = manager.post("/api/v1/clays/", {"name": "Buff", **ranges})
    assert (clay.status_code, clay.data["bisque_cone_high"]) == (201, "04")
    glaze = manager.post("/api/v1/glazes/", {"name": "Rain", **ranges})
    path = f"/api/v1/glazes/{glaze.data['id']}/"
    assert manager.patch(path, {"is_offered": False}).data["is_offered"] is False
    upside = manager.patch(path, {"cone_low": "10"})
    assert (upside.status_code, upside.data["code"]) == (409, "range_upside_down")
    size = {"name": "Tray", "shape": "rectangle", "across_mm": 300, "height_mm": 40}
    assert manager.post("/api/v1/sizes/", size).status_code == 400
    assert manager.post("/api/v1/sizes/", {**size, "depth_mm": 200}).status_code == 201
    assert manager.post("/api/v1/sizes/", {**size, "depth_cm": 20}).status_code == 400
    assert [Clay.objects.count(), Glaze.objects.count(), PieceSize.objects.count()] == [1, 1, 1]
    assert member.get("/api/v1/sizes/").data["results"][0]["depth_mm"] == 200


def test_rules_are_read_by_all_and_edited_within_bounds(manager, member):
    path = "/api/v1/firing-policy/"
    assert member.get(path).data["opening_limit_c"] == 52
    sent = {"glaze_gap_mm": 8, "glaze_cones": ["6"], "pick_up_places": ["Shelf A"]}
    assert manager.patch(path, sent).data["glaze_gap_mm"] == 8
    for wrong in ({"opening_limit_c": 900}, {"glaze_gap_mm": -1}, {"glaze_cones": ["600"]}):
        assert manager.patch(path, wrong).status_code == 400
    assert FiringPolicy.current().glaze_cones == ["6"]


@pytest.mark.parametrize("room", ["kilns", "clays", "glazes", "sizes"])
def test_lists_ask_as_often_for_three_as_for_one(room, member):
    def add(number: int) -> Any:
        name = f"Number {number}"
        size = {"shape": "round", "across_mm": 90, "height_mm": 90}
        makers = {
            "kilns": lambda: scene.kiln(name=name),
            "clays": lambda: scene.clay(name),
            "glazes": lambda: scene.glaze(name),
            "sizes": lambda: PieceSize.objects.create(name=name, **size),
        }
        return makers[room]()

    counts = []
    for wanted in ([1], [2, 3]):
        for number in wanted:
            add(number)
        with CaptureQueriesContext(connection) as asked:
            found = member.get(f"/api/v1/{room}/").data["count"]
        counts.append((found, len(asked)))
    assert [found for found, _ in counts] == [1, 3]
    assert counts[0][1] == counts[1][1]
