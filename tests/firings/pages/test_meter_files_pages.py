"""Crew hand in the file of a utility's meter, by page and by API."""

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from rest_framework.test import APIClient

from firings.models import MeterFile
from tests import scene
from tests.firings.meter_data import block, feed, meter, quarters

pytestmark = pytest.mark.django_db


def march() -> SimpleUploadedFile:
    content = feed(meter(1, block(quarters(100, 200, 300))))
    return SimpleUploadedFile("march.xml", content, "application/xml")


def test_a_file_is_taken_in_and_listed_on_its_page():
    kiln, client = scene.kiln(), Client()
    client.force_login(scene.crew())
    url = f"/kilns/{kiln.pk}/meter/"
    assert "No file was taken in yet" in client.get(url).content.decode()
    sent = {"content": march(), "measures_this_kiln_alone": "on"}
    done = client.post(url, sent, follow=True).content.decode()
    assert "3 intervals are taken in." in done
    assert "march.xml" in done
    again = client.post(url, {"content": march(), "measures_this_kiln_alone": "on"})
    assert again.status_code == 409
    assert "was taken in for" in again.content.decode()


def test_a_file_of_another_kind_says_so_at_its_field():
    kiln, client = scene.kiln(), Client()
    client.force_login(scene.crew())
    wrong = SimpleUploadedFile("march.csv", b"hour,kWh\n1,2\n", "text/csv")
    sent = {"content": wrong, "measures_this_kiln_alone": "on"}
    answer = client.post(f"/kilns/{kiln.pk}/meter/", sent)
    assert answer.status_code == 400
    assert "This is no whole XML" in answer.content.decode()


def test_members_neither_see_nor_send():
    kiln, client = scene.kiln(), Client()
    client.force_login(scene.person("Mia"))
    assert client.get(f"/kilns/{kiln.pk}/meter/").status_code == 403


def test_by_api():
    kiln, crew = scene.kiln(), APIClient()
    crew.force_authenticate(scene.crew())
    path = f"/api/v1/kilns/{kiln.pk}/meter-files/"
    sent = {"file": march(), "measures_this_kiln_alone": True}
    made = crew.post(path, sent, format="multipart")
    assert (made.status_code, made.data["energy_wh"]) == (201, "600.000")
    assert [one["file_name"] for one in crew.get(path).data["results"]] == ["march.xml"]
    refused = crew.post(
        path, {"file": march(), "measures_this_kiln_alone": False}, format="multipart"
    )
    assert refused.data["code"] == "meter_not_alone"
    member = APIClient()
    member.force_authenticate(scene.person("Mia"))
    assert member.get(path).status_code == 403
    assert MeterFile.objects.count() == 1
