"""Cones, energy and health over the API."""

import pytest
from rest_framework.test import APIClient

from firings.actions.end_firing import close_firing
from tests import scene
from tests.firings.pages.crew_scene import make_way

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("nobody_listens")]


def client_of(person) -> APIClient:
    client = APIClient()
    client.force_authenticate(person)
    return client


@pytest.fixture
def way():
    return make_way()


@pytest.fixture
def closed(way):
    firing = scene.unloaded(way.crew, way.opened(), at=way.now)
    cones = [
        {"layer": 1, "cone": "04", "clock": "6"},
        {"layer": 1, "cone": "03", "clock": "12"},
    ]
    path = f"/api/v1/firings/{firing.pk}/witness-cones/"
    answer = client_of(way.crew).put(path, {"cones": cones}, format="json")
    assert [(one["role"], one["bend"]) for one in answer.data["witness_cones"]] == [
        ("firing", "1.00"), ("guard", "0.00"),
    ]  # fmt: skip
    return close_firing(
        by=way.crew, at=way.now, firing=firing, result="reached", register_end_wh=1_030_000
    )


def test_measured_cones_with_their_offset(way, closed):
    path = f"/api/v1/firings/{closed.pk}/measured-cones/"
    for person in (way.crew, way.member):
        shown = client_of(person).get(path).data
        (pack,) = shown["packs"]
        # cone 04 is 1063 C, 03 1086 C (Orton chart): 1063 - 2 to 1086 - 15 + 2
        assert (pack["low_c"], pack["high_c"]) == (1061, 1073)
        assert pack["words"] == "between cone 04 and cone 03"
        assert shown["evenness"] is None
        assert shown["offset_c"] == pytest.approx(pack["middle_c"] - shown["log_heat_c"])
    assert client_of(scene.person("Uta")).get(path).status_code == 404


@pytest.mark.parametrize(
    "cone",
    [
        {"layer": 1, "cone": "04"},
        {"layer": 1, "cone": "04", "bend": "1", "clock": "6"},
        {"layer": 1, "cone": "04", "clock": "9"},
        {"layer": 1, "cone": "04", "bend": "1", "role": "witness"},
    ],
)
def test_a_cone_without_one_reading_is_refused(way, cone):
    path = f"/api/v1/firings/{way.opened().pk}/witness-cones/"
    assert client_of(way.crew).put(path, {"cones": [cone]}, format="json").status_code == 400


def test_the_energy_balance_sums_to_the_energy(way, closed):
    path = f"/api/v1/firings/{closed.pk}/energy-balance/"
    explained = client_of(way.member).get(path).data["explained"]
    assert explained["energy_wh"] == sum(part["energy_wh"] for part in explained["parts"]) == 30_000
    assert (explained["fits"], explained["is_weighed"]) == (True, False)
    weighed = client_of(way.crew).post(
        f"/api/v1/firings/{closed.pk}/weigh-load/", {"load_kg": 8}, format="json"
    )
    assert weighed.data["load_kg"] == 8
    assert client_of(way.crew).get(path).data["explained"]["ware_kg"] == 8
    assert client_of(scene.person("Uta")).get(path).status_code == 404


def test_a_firing_that_is_not_closed_has_no_balance(way):
    path = f"/api/v1/firings/{way.hot().pk}/energy-balance/"
    assert client_of(way.crew).get(path).data == {"explained": None}


def test_a_kilns_health_is_for_crew_and_staff(way, closed):
    path = f"/api/v1/kilns/{way.kiln.pk}/health/"
    shown = client_of(way.crew).get(path).data
    assert [one["firing"] for one in shown["firings"]] == [closed.pk]
    assert shown["wear"] == {"verdict": "no_evidence", "basis": ""}
    assert (shown["rate"], shown["offset_advice"], shown["power_factor"]) == (None, None, 1.0)
    assert client_of(way.member).get(path).status_code == 403
