from datetime import UTC, datetime, timedelta

import pytest
import time_machine
from django.test import override_settings
from django.utils import timezone

from studio.models import Notice, Person

NOON = datetime(2026, 3, 2, 12, tzinfo=UTC)
UNREACHABLE = {
    "default": {
        "BACKEND": "django.core.cache.backends.redis.RedisCache",
        "LOCATION": "unix:///nowhere/broker.sock",
    }
}


def write_notice(due_at: datetime, **fields: object) -> Notice:
    marks = {"key": f"k{due_at}", "message_id": f"<{due_at}@test>", "kind": "ready"}
    return Notice.objects.create(**marks, address="a@example.org", due_at=due_at, **fields)


def test_alive_asks_no_database(client):
    response = client.get("/healthz")
    assert (response.status_code, response.content) == (200, b"alive\n")


@pytest.mark.django_db
@pytest.mark.parametrize("path", ["/healthz", "/readyz", "/metrics"])
def test_probes_are_answered_by_number_and_without_https(client, path):
    with override_settings(SECURE_SSL_REDIRECT=True, ALLOWED_HOSTS=["kilns.example.org"]):
        assert client.get(path, headers={"Host": "10.0.0.7:8000"}).status_code == 200
        assert client.get("/", headers={"Host": "10.0.0.7:8000"}).status_code == 400
        assert client.post(path).status_code == 405


@pytest.mark.django_db
def test_ready_with_an_empty_outbox(client):
    response = client.get("/readyz")
    assert response.status_code == 200
    assert response.json() == {
        "ready": True,
        "database": True,
        "broker": True,
        "outbox_oldest_s": None,
        "outbox_late": False,
    }


@pytest.mark.django_db
@pytest.mark.parametrize(("age_s", "is_late"), [(600, False), (601, True)])
def test_ready_tells_the_age_of_the_outbox(client, age_s, is_late):
    write_notice(NOON - timedelta(seconds=age_s))
    with time_machine.travel(NOON, tick=False):
        answer = client.get("/readyz").json()
    assert answer["outbox_oldest_s"] == age_s
    assert answer["outbox_late"] is is_late
    assert answer["ready"] is True


@pytest.mark.django_db
def test_not_ready_without_a_broker(client):
    with override_settings(CACHES=UNREACHABLE):
        response = client.get("/readyz")
    assert response.status_code == 503
    assert response.json()["broker"] is False
    assert response.json()["database"] is True


@pytest.mark.django_db
def test_metrics_count_the_outbox(client):
    write_notice(timezone.now() - timedelta(minutes=1))
    write_notice(timezone.now(), state="failed")
    Person.objects.create_user("ada@example.org", "x")
    lines = client.get("/metrics").content.decode().splitlines()
    assert 'wareboard_notices{state="waiting"} 1.0' in lines
    assert 'wareboard_notices{state="failed"} 1.0' in lines
    assert 'wareboard_notices{state="sent"} 0.0' in lines
    assert "wareboard_people 1.0" in lines


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("token", "sent", "status"),
    [
        ("", {}, 200),
        ("", {"REMOTE_ADDR": "203.0.113.9"}, 403),
        ("", {"headers": {"X-Forwarded-For": "203.0.113.9"}}, 403),
        ("s3cret", {}, 403),
        ("s3cret", {"headers": {"Authorization": "Bearer wrong"}}, 403),
        ("s3cret", {"headers": {"Authorization": "Bearer s3cret"}}, 200),
    ],
)
def test_metrics_are_guarded(client, token, sent, status):
    with override_settings(METRICS_TOKEN=token):
        response = client.get("/metrics", **sent)
    assert response.status_code == status
    assert (b"wareboard_people" in response.content) is (status == 200)


def test_each_answer_carries_a_mark(client):
    sent = client.get("/healthz", headers={"X-Request-ID": "from-the-proxy-1"})
    assert sent["X-Request-ID"] == "from-the-proxy-1"
    unusable = client.get("/healthz", headers={"X-Request-ID": "a b"})
    assert len(unusable["X-Request-ID"]) == 32
