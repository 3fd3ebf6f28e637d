"""Bookings over the API: what a member may send, see and do, and what is refused."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.utils import timezone
from rest_framework.test import APIClient

from firings.models import Booking
from studio.models import Person
from tests import scene

pytestmark = pytest.mark.django_db

BOOKINGS = "/api/v1/bookings/"


def client_of(person: Person) -> APIClient:
    client = APIClient()
    client.force_authenticate(person)
    return client


@pytest.fixture
def mia() -> Person:
    scene.kiln()
    return scene.person("Mia")


@pytest.fixture
def request_of_mia(mia: Person) -> dict[str, Any]:
    return {
        "stage": "bisque",
        "cone": "04",
        "clay": scene.clay().pk,
        "dry_on": timezone.localdate().isoformat(),
        "pieces": [
            {"name": "Mug", "shape": "round", "across_mm": 90, "height_mm": 100, "count": 4}
        ],
    }


def book(member: Person) -> Booking:
    return scene.booking(member, at=timezone.now())


def test_a_member_books_and_reads_the_booking(mia, request_of_mia):
    client = client_of(mia)
    made = client.post(BOOKINGS, request_of_mia)
    assert made.status_code == 201
    # Four discs of 90 mm without a gap: 4 x pi/4 x 90^2 = 25,446.9 mm2 (area of a circle).
    assert made.data["charged_area_mm2"] == pytest.approx(25_447, abs=4)
    assert len(made.data["pieces"]) == 4
    assert client.get(f"{BOOKINGS}{made.data['id']}/").data == made.data
    assert client.get(BOOKINGS, {"slip": made.data["slip"].lower()}).data["count"] == 1
    assert client.get(BOOKINGS, {"slip": "nonsense"}).data["count"] == 0


def piece(**fields: Any) -> dict[str, Any]:
    usual = {"name": "Vase", "shape": "round", "across_mm": 90, "height_mm": 100, **fields}
    return {"pieces": [{name: value for name, value in usual.items() if value is not None}]}


@pytest.mark.parametrize(
    ("fields", "status", "code", "words"),
    [
        (piece(height_mm=-1), 400, "invalid", "greater than or equal to 1"),
        (piece(across_mm=0), 400, "invalid", "greater than or equal to 1"),
        (piece(height_mm=2001), 400, "invalid", "less than or equal to 2000"),
        (piece(across_mm=10**30), 400, "invalid", "less than or equal to 2000"),
        (piece(across_mm="9 cm"), 400, "invalid", "valid integer"),
        (piece(height_mm=None, height_in=4), 400, "invalid", "carry their unit"),
        (piece(count=0), 400, "invalid", "greater than or equal to 1"),
        (piece(shape="blob"), 400, "invalid", "not a valid choice"),
        (piece(shape="rectangle"), 409, "absurd_size", "depth"),
        # The chamber of scene.FIRST_KILN is 570 mm high.
        (piece(height_mm=600), 409, "piece_fits_no_kiln", "Heron"),
        ({"dry_on": "2020-01-01"}, 409, "dry_date_in_the_past", "past"),
        ({"dry_on": "2199-01-01"}, 409, "dry_date_too_far", "days"),
        ({"dry_on": "tomorrow"}, 400, "invalid", "format"),
        ({"cone": "4.5"}, 400, "invalid", "not a valid choice"),
        ({"cone": "6"}, 409, "cone_outside_range", "ruin"),
        ({"clay": 999_999}, 400, "invalid", "does not exist"),
        ({"clay": "9" * 40}, 400, "invalid", "does not exist"),
        ({"stage": "raku"}, 400, "invalid", "not a valid choice"),
        ({"shelf_fraction": "half"}, 409, "pieces_and_shelf", "not both"),
        ({"pieces": []}, 409, "no_pieces", "at least one piece"),
        ({"pieces": "mug"}, 400, "invalid", "list"),
        ({"firing": 999_999}, 400, "invalid", "does not exist"),
    ],
)
def test_a_bad_booking_is_refused_in_words_and_leaves_nothing(
    mia, request_of_mia, fields, status, code, words
):
    answer = client_of(mia).post(BOOKINGS, {**request_of_mia, **fields})
    assert (answer.status_code, answer.data["code"]) == (status, code)
    assert set(answer.data) == {"code", "message", "fields", "facts"}
    assert words in json.dumps(answer.data, default=str, ensure_ascii=False)
    assert not Booking.objects.exists()


@pytest.mark.parametrize("body", ["{", "[" * 100_000 + "]" * 100_000, '{"cone": NaN}'])
def test_a_body_that_is_no_json_is_told_so(mia, body):
    answer = client_of(mia).post(BOOKINGS, body, content_type="application/json")
    assert (answer.status_code, answer.data["code"]) == (400, "parse_error")


def test_a_member_books_for_nobody_else(mia, request_of_mia):
    other = scene.person("Otto")
    answer = client_of(mia).post(BOOKINGS, {**request_of_mia, "member": other.pk})
    assert (answer.status_code, answer.data["code"]) == (403, "not_your_booking")
    by_crew = client_of(scene.crew()).post(BOOKINGS, {**request_of_mia, "member": other.pk})
    assert by_crew.data["member"] == {"id": other.pk, "name": "Otto"}


def test_another_members_booking_does_not_exist(mia):
    others = book(scene.person("Otto"))
    client = client_of(mia)
    assert client.get(BOOKINGS).data["results"] == []
    piece_pk = others.pieces.first().pk
    for path in ("withdraw/", "decline/", "collect/", f"pieces/{piece_pk}/measure/"):
        answer = client.post(f"{BOOKINGS}{others.pk}/{path}", {})
        assert (answer.status_code, answer.data["code"]) == (404, "not_found")
    assert client.get(f"{BOOKINGS}{others.pk}/").status_code == 404
    # The control: its own member does see it.
    assert client_of(others.member).get(f"{BOOKINGS}{others.pk}/").status_code == 200


def test_a_household_shares_its_bookings(mia):
    mine = book(mia)
    partner = scene.person("Max", account=mia.account)
    assert client_of(partner).get(BOOKINGS).data["results"][0]["slip"] == mine.slip


def test_withdrawn_declined_and_measured(mia):
    crew, client = client_of(scene.crew()), client_of(mia)
    first, second = book(mia), book(mia)
    assert client.post(f"{BOOKINGS}{first.pk}/withdraw/").data["state"] == "withdrawn"
    again = client.post(f"{BOOKINGS}{first.pk}/withdraw/")
    assert (again.status_code, again.data["code"]) == (409, "not_waiting")

    path = f"{BOOKINGS}{second.pk}/"
    size = {"shape": "rectangle", "across_mm": 100, "depth_mm": 50, "height_mm": 90}
    measure = f"{path}pieces/{second.pieces.first().pk}/measure/"
    assert client.post(measure, size).status_code == 403
    answer = crew.post(measure, size)
    assert answer.data["pieces"][0]["depth_mm"] == 50
    assert crew.post(measure, {**size, "height_mm": -9}).status_code == 400
    assert crew.post(f"{path}pieces/{first.pieces.first().pk}/measure/", size).status_code == 404

    assert client.post(f"{path}decline/", {"reason": "wet"}).status_code == 403
    declined = crew.post(f"{path}decline/", {"reason": "wet"})
    assert (declined.data["state"], declined.data["decline_reason"]) == ("declined", "wet")
    early = client.post(f"{path}collect/")
    assert (early.status_code, early.data["code"]) == (409, "not_ready")


def test_the_list_asks_as_often_for_three_as_for_one(mia):
    client = client_of(mia)
    book(mia)
    counts = []
    for _ in range(2):
        with CaptureQueriesContext(connection) as asked:
            found = client.get(BOOKINGS).data["count"]
        counts.append((found, len(asked)))
        book(mia)
        book(mia)
    assert [found for found, _ in counts] == [1, 3]
    assert counts[0][1] == counts[1][1]


def test_queues_tell_areas_and_no_names(mia):
    book(mia)
    scene.booking(mia, at=timezone.now(), dry_on=timezone.localdate() + timedelta(days=9))
    [queue] = client_of(scene.person("Otto")).get("/api/v1/queues/").data
    assert (queue["stage"], queue["cone"], queue["bookings"]) == ("bisque", "04", 2)
    assert queue["dry_bookings"] == 1
    assert queue["area_mm2"] == 2 * queue["dry_area_mm2"]
