"""Readings by a kiln's key: who may post, what is kept, and what is refused in which words."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from rest_framework.test import APIClient

from firings.actions.kilns import issue_kiln_token, revoke_kiln_token
from firings.models import Kiln, KilnToken, Reading
from studio.api.throttles import TokenThrottle
from studio.models import Person, Role
from tests import scene

pytestmark = pytest.mark.django_db


@pytest.fixture
def now() -> Any:
    return timezone.now().replace(microsecond=0)


@pytest.fixture
def firing(now: Any) -> Any:
    """A kiln that a person started three hours ago."""
    crew, kiln, start = scene.crew(), scene.kiln(), now - timedelta(hours=3)
    scene.booking(scene.person("Mia"), at=start)
    return scene.started(crew, scene.loading(crew, kiln, at=start), at=start)


def key_of(kiln: Kiln, name: str = "logger") -> tuple[KilnToken, str]:
    chief = Person.objects.holding(Role.MANAGER).first()
    assert chief
    return issue_kiln_token(by=chief, at=scene.NOON, kiln=kiln, name=name)


@pytest.fixture
def logger(firing: Any) -> APIClient:
    return with_key(key_of(firing.kiln)[1])


def with_key(secret: str) -> APIClient:
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


def address(kiln: Kiln) -> str:
    return f"/api/v1/kilns/{kiln.pk}/readings/"


def batch(now: Any, *temperatures: float, **more: Any) -> dict[str, Any]:
    """One reading a minute, the last one a minute ago."""
    count = len(temperatures)
    return {
        "readings": [
            {
                "at": (now - timedelta(minutes=count - number)).isoformat(),
                "temp_c": temp_c,
                **more,
            }
            for number, temp_c in enumerate(temperatures)
        ]
    }


def test_a_logger_posts_in_any_order_and_twice(now, firing, logger):
    sent = batch(now, 100, 110, 120)
    sent["readings"].reverse()
    first = logger.post(address(firing.kiln), sent)
    assert first.status_code == 200
    stored = {"stored": 3, "already_known": 0, "firing": firing.pk}
    assert first.data == {**stored, "firings": [stored], "refused": []}
    again = logger.post(address(firing.kiln), sent)
    known = {"stored": 0, "already_known": 3, "firing": firing.pk}
    assert again.data == {**known, "firings": [known], "refused": []}
    stored = list(firing.readings.values_list("temp_c", "source"))
    assert stored == [(100, "logger"), (110, "logger"), (120, "logger")]


def test_without_a_key_nothing_is_taken(now, firing):
    answer = APIClient().post(address(firing.kiln), batch(now, 100))
    assert (answer.status_code, answer["WWW-Authenticate"]) == (401, "Bearer")
    assert answer.data["code"] == "not_authenticated"


def test_a_wrong_key_and_a_revoked_one_are_refused_alike(now, firing):
    token, secret = key_of(firing.kiln)
    revoke_kiln_token(by=None, at=scene.NOON, token=token)
    for one in (secret, "wrong", "two words"):
        answer = with_key(one).post(address(firing.kiln), batch(now, 100))
        assert (answer.status_code, answer.data["code"]) == (401, "authentication_failed")
    assert not Reading.objects.exists()


def test_the_key_of_another_kiln_is_refused(now, firing):
    other = scene.kiln(name="Wren")
    answer = with_key(key_of(other)[1]).post(address(firing.kiln), batch(now, 100))
    assert (answer.status_code, answer.data["code"]) == (403, "permission_denied")
    assert "another kiln" in answer.data["message"]


def test_a_persons_token_is_no_kiln_key_and_a_kiln_key_opens_nothing_else(firing, logger):
    for path in ("/api/v1/kilns/", "/api/v1/bookings/", "/api/v1/me/"):
        assert logger.get(path).status_code == 401


def test_a_busy_logger_is_slowed_down_and_the_one_beside_it_is_not(
    now, firing, logger, monkeypatch
):
    monkeypatch.setitem(TokenThrottle.THROTTLE_RATES, "kiln_token", "2/min")
    sent = batch(now, 100)
    statuses = [logger.post(address(firing.kiln), sent).status_code for _ in range(3)]
    assert statuses == [200, 200, 429]
    beside = with_key(key_of(firing.kiln, "meter")[1])
    assert beside.post(address(firing.kiln), sent).status_code == 200


def test_the_last_use_is_noted_at_most_once_a_minute(now, firing, logger):
    token = firing.kiln.tokens.get()
    assert token.last_used_at is None
    logger.post(address(firing.kiln), batch(now, 100))
    token.refresh_from_db()
    noted = token.last_used_at
    assert noted is not None
    logger.post(address(firing.kiln), batch(now, 101))
    token.refresh_from_db()
    assert token.last_used_at == noted
    KilnToken.objects.update(last_used_at=noted - timedelta(minutes=1))
    logger.post(address(firing.kiln), batch(now, 102))
    token.refresh_from_db()
    assert token.last_used_at > noted - timedelta(minutes=1)


def change(sent: dict[str, Any], **fields: Any) -> dict[str, Any]:
    sent["readings"][0].update(fields)
    return sent


@pytest.mark.parametrize(
    ("fields", "status", "code", "words"),
    [
        ({"temp_f": 212}, 400, "invalid", "carry their unit"),
        ({"temp_c": "hot"}, 400, "invalid", "valid number"),
        ({"temp_c": None}, 400, "invalid", "may not be null"),
        ({"temp_c": 4000}, 400, "reading_impossible", "temperature 4000.0"),
        ({"duty": 85}, 400, "reading_impossible", "not a percentage"),
        ({"power_w": -5}, 400, "reading_impossible", "power"),
        ({"register_wh": -1}, 400, "invalid", "greater than or equal to 0"),
        ({"at": "2026-03-02T12:00:00"}, 400, "invalid", "offset"),
        ({"at": "noon"}, 400, "invalid", "format"),
        ({"at": "2300-01-01T00:00:00Z"}, 400, "reading_impossible", "future"),
        ({"at": "0001-01-01T00:00:00+14:00"}, 400, "invalid", "out of range"),
    ],
)
def test_one_impossible_reading_refuses_the_batch(now, firing, logger, fields, status, code, words):
    answer = logger.post(address(firing.kiln), change(batch(now, 100, 110), **fields))
    assert (answer.status_code, answer.data["code"]) == (status, code)
    assert set(answer.data) == {"code", "message", "fields", "facts"}
    assert words in json.dumps(answer.data, default=str, ensure_ascii=False)
    assert not Reading.objects.exists()


def test_the_bad_reading_is_named_by_its_place(now, firing, logger):
    sent = batch(now, 100, 110, 120)
    sent["readings"][1]["temp_c"] = "hot"
    answer = logger.post(address(firing.kiln), sent)
    assert answer.data["fields"] == {"readings": {"1": {"temp_c": ["A valid number is required."]}}}


def test_numbers_as_text_and_empty_fields_pass_as_before(now, firing, logger):
    sent = batch(now, 100, 110)
    sent["readings"][0] |= {"temp_c": "100.5", "room_c": None}
    sent["readings"][1] |= {"register_wh": 12}
    assert logger.post(address(firing.kiln), sent).data["stored"] == 2
    rows = list(firing.readings.values_list("temp_c", "room_c", "register_wh"))
    assert rows == [(100.5, None, None), (110, None, 12)]


def test_what_belongs_to_no_firing_is_named_and_the_rest_is_stored(now, firing, logger):
    sent = change(batch(now, 100, 110, 120), at="2000-01-01T00:00:00Z")
    answer = logger.post(address(firing.kiln), sent)
    assert (answer.status_code, answer.data["stored"]) == (200, 2)
    (refused,) = answer.data["refused"]
    assert (refused["count"], refused["first_at"]) == (1, "2000-01-01T00:00:00Z")
    assert "was not being fired at 1 Jan 2000, 00:00:00" in refused["reason"]
    assert firing.readings.count() == 2


def test_the_same_time_twice_in_a_batch_is_refused(now, firing, logger):
    sent = batch(now, 100, 110)
    sent["readings"][1]["at"] = sent["readings"][0]["at"]
    answer = logger.post(address(firing.kiln), sent)
    assert (answer.status_code, answer.data["code"]) == (400, "time_twice")
    assert not Reading.objects.exists()


def test_a_meter_that_runs_backwards_is_refused(now, firing, logger):
    sent = batch(now, 100, 110)
    sent["readings"][0]["register_wh"] = 2_000
    sent["readings"][1]["register_wh"] = 1_999
    answer = logger.post(address(firing.kiln), sent)
    assert (answer.status_code, answer.data["code"]) == (400, "meter_runs_backwards")
    assert not Reading.objects.exists()


@pytest.mark.parametrize(
    ("body", "code"),
    [
        ("{not json", "parse_error"),
        ('{"readings": [{"at": "2026-03-02T12:00:00Z", "temp_c": NaN}]}', "parse_error"),
        ("[]", "invalid"),
        ('{"readings": []}', "invalid"),
        ('{"readings": {"at": 1}}', "invalid"),
        ('{"log": []}', "invalid"),
        ("", "invalid"),
    ],
)
def test_what_is_no_batch_is_told_so(firing, logger, body, code):
    answer = logger.post(address(firing.kiln), body, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (400, code)


def test_another_kind_of_body_is_refused(firing, logger):
    answer = logger.post(address(firing.kiln), "at,temp\n", content_type="text/csv")
    assert (answer.status_code, answer.json()["code"]) == (415, "unsupported_media_type")


def test_ten_thousand_readings_fit_in_one_batch_and_no_more(now, firing, logger):
    second = timedelta(seconds=1)
    readings = [
        {"at": (now - second * n).isoformat(), "temp_c": 500.0, "power_w": 3000}
        for n in range(10_000)
    ]
    answer = logger.post(address(firing.kiln), {"readings": readings})
    assert (answer.data["stored"], answer.data["firing"]) == (10_000, firing.pk)
    one_more = {"at": (now - second * 10_000).isoformat(), "temp_c": 500.0}
    answer = logger.post(address(firing.kiln), {"readings": [*readings, one_more]})
    assert answer.status_code == 400
    assert "10000" in json.dumps(answer.json())
    assert firing.readings.count() == 10_000


def test_a_body_over_25_mb_is_refused_unread(firing, logger):
    answer = logger.post(
        address(firing.kiln), b"0" * (25 * 1024 * 1024 + 1), content_type="application/json"
    )
    assert (answer.status_code, answer.json()["code"]) == (413, "upload_too_big")


def test_a_kiln_that_is_not_fired_takes_no_readings(now):
    kiln = scene.kiln()
    answer = with_key(key_of(kiln)[1]).post(address(kiln), batch(now, 20))
    assert (answer.status_code, answer.data["code"]) == (409, "no_firing_running")


def test_crew_post_read_and_draw_a_log(now, firing):
    crew, member = APIClient(), APIClient()
    crew.force_authenticate(firing.started_by)
    member.force_authenticate(Person.objects.get(name="Mia"))
    path = f"/api/v1/firings/{firing.pk}/"
    sent = {**batch(now, *range(100, 130)), "source": "hand"}
    assert member.post(f"{path}readings/", sent).status_code == 403
    assert crew.post(f"{path}readings/", sent).data["stored"] == 30
    page = member.get(f"{path}readings/", {"page_size": 20}).data
    assert [row["temp_c"] for row in page["results"]] == list(range(100, 120))
    assert {row["source"] for row in page["results"]} == {"hand"}
    assert len(member.get(page["next"]).data["results"]) == 10
    curve = member.get(f"{path}curve/", {"points": 12}).data
    assert len(curve) <= 12
    assert (curve[0]["temp_c"], curve[-1]["temp_c"]) == (100, 129)
    assert member.get(f"{path}curve/", {"points": 3}).status_code == 400
