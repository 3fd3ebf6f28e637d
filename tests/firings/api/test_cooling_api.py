"""Cooling over the API: the forecast with its band, and what a kiln's firings taught."""

import pytest
from rest_framework.test import APIClient

from tests import scene
from tests.firings.pages.crew_scene import make_way

pytestmark = pytest.mark.django_db


def client_of(person) -> APIClient:
    client = APIClient()
    client.force_authenticate(person)
    return client


def test_crew_and_whose_ware_is_in_it_read_the_forecast():
    way = make_way()
    firing = way.cooling()
    for person in (way.crew, way.member):
        answer = client_of(person).get(f"/api/v1/firings/{firing.pk}/cooling-forecast/")
        forecast = answer.data["forecast"]
        assert forecast["phase"] == "falling"
        assert forecast["earliest_at"] < forecast["likely_at"] < forecast["latest_at"]
        assert (forecast["limit_c"], forecast["firings_count"]) == (52, 0)
        assert len(forecast["band"]) == 40
        assert set(forecast["band"][0]) == {"at", "low_c", "likely_c", "high_c"}


def test_a_kiln_that_is_not_hot_has_no_forecast():
    way = make_way()
    firing = way.cooled()
    answer = client_of(way.crew).get(f"/api/v1/firings/{firing.pk}/cooling-forecast/")
    assert answer.data == {"forecast": None}


def test_others_do_not_find_it():
    firing = make_way().cooling()
    stranger = client_of(scene.person("Uta"))
    assert stranger.get(f"/api/v1/firings/{firing.pk}/cooling-forecast/").status_code == 404


def test_what_a_kiln_taught_is_for_crew_and_staff():
    way = make_way()
    address = f"/api/v1/kilns/{way.kiln.pk}/cooling/"
    answer = client_of(way.crew).get(address)
    assert (answer.data["firings_count"], answer.data["usual_s"]) == (0, None)
    assert client_of(way.member).get(address).status_code == 403
