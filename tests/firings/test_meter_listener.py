"""The listener against a real MQTT broker: nothing published is lost, nothing is stored twice."""

from __future__ import annotations

import asyncio
import json
import socket
import threading
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import paho.mqtt.client as mqtt
import pytest
from amqtt.broker import Broker
from django.utils import timezone

from firings.actions.kiln_topics import set_kiln_topic
from firings.meter_listener import MeterListener
from firings.models import Firing, KilnTopic
from studio.models import Person, Role
from tests import scene

pytestmark = [
    pytest.mark.django_db,
    # amqtt leaves sockets to the garbage collector when its loop ends
    pytest.mark.filterwarnings("ignore::pytest.PytestUnraisableExceptionWarning"),
    pytest.mark.filterwarnings("ignore::DeprecationWarning:amqtt.*"),
]
TOPIC = "studio/kiln-1/readings"
PATIENCE_S = 20.0


@pytest.fixture
def broker_port() -> Iterator[int]:
    """A broker in a thread of its own, on a port that was free."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    loop = asyncio.new_event_loop()
    config = {
        "listeners": {"default": {"type": "tcp", "bind": f"127.0.0.1:{port}"}},
        "plugins": {"amqtt.plugins.authentication.AnonymousAuthPlugin": {"allow_anonymous": True}},
    }
    started = threading.Event()

    def serve() -> None:
        asyncio.set_event_loop(loop)
        broker = Broker(config, loop=loop)
        loop.run_until_complete(broker.start())
        started.set()
        loop.run_forever()
        loop.run_until_complete(broker.shutdown())
        loop.close()

    thread = threading.Thread(target=serve, daemon=True)
    thread.start()
    assert started.wait(PATIENCE_S)
    yield port
    loop.call_soon_threadsafe(loop.stop)
    thread.join(PATIENCE_S)


@pytest.fixture
def firing() -> Firing:
    cosmo = scene.crew()
    kiln = scene.kiln()
    scene.booking(scene.person("Ines"))
    return scene.started(cosmo, scene.loading(cosmo, kiln))


def hear(kiln: Any, topic: str = TOPIC, *more: tuple[str, str, str]) -> KilnTopic:
    return set_kiln_topic(
        by=Person.objects.holding(Role.MANAGER).get(),
        at=scene.NOON,
        kiln=kiln,
        topic=topic,
        fields=[("temp_c", "temp", "C"), *more],
        time_path="at",
    )


def publish(port: int, *messages: tuple[str, Any]) -> None:
    client = mqtt.Client(mqtt.CallbackAPIVersion.VERSION2)
    client.connect("127.0.0.1", port)
    client.loop_start()
    for topic, told in messages:
        payload = told if isinstance(told, bytes) else json.dumps(told)
        client.publish(topic, payload, qos=1).wait_for_publish(PATIENCE_S)
    client.disconnect()
    client.loop_stop()


def listen(port: int, is_enough: Callable[[], bool], *messages: tuple[str, Any]) -> None:
    """Run a listener; publish once it listens; end when what is waited for has come."""
    until_s = time.monotonic() + PATIENCE_S
    # In a test the connection is inside a transaction and must stay.
    listener = MeterListener(f"mqtt://127.0.0.1:{port}", before_database=lambda: None)
    left = list(messages)

    def is_over() -> bool:
        if listener.is_listening and left:
            publish(port, *left)
            left.clear()
        listener.store()
        return is_enough() or time.monotonic() > until_s

    listener.run(is_over)


def told(moment: datetime, temp_c: float, **more: float) -> tuple[str, dict[str, Any]]:
    return TOPIC, {"at": moment.isoformat(), "temp": temp_c, **more}


def test_what_is_published_is_stored_once(broker_port: int, firing: Firing) -> None:
    hear(firing.kiln, TOPIC, ("power_w", "kw", "kW"))
    start = firing.started_at
    messages = [told(start + timedelta(minutes=n), 100.0 + n, kw=7.2) for n in range(3)]
    listen(broker_port, lambda: firing.readings.count() == 3, *messages, messages[0])
    stored = list(firing.readings.values_list("temp_c", "power_w", "source"))
    assert stored == [(100.0 + n, 7200.0, "logger") for n in range(3)]
    assert KilnTopic.objects.get().last_heard_at is not None


def test_a_message_that_cannot_be_read_is_noted_and_the_next_one_is_taken(
    broker_port: int, firing: Firing
) -> None:
    hear(firing.kiln)
    messages = [(TOPIC, b"rubbish"), told(firing.started_at, 100.0)]
    listen(broker_port, lambda: firing.readings.count() == 1, *messages)
    assert firing.readings.count() == 1
    assert "the message is no JSON" in KilnTopic.objects.get().last_fault


def test_a_message_with_a_wrong_clock_does_not_take_the_others_with_it(
    broker_port: int, firing: Firing
) -> None:
    hear(firing.kiln)
    wrong = told(timezone.now() + timedelta(days=400), 101.0)
    messages = [told(firing.started_at, 100.0), wrong]
    listen(broker_port, lambda: KilnTopic.objects.get().last_fault != "", *messages)
    assert [reading.temp_c for reading in firing.readings.all()] == [100.0]
    assert "lies in the future" in KilnTopic.objects.get().last_fault


def test_an_idle_kiln_is_heard_and_nothing_is_stored(broker_port: int, firing: Firing) -> None:
    topic = hear(scene.kiln(name="Robin"))

    def is_heard() -> bool:
        return KilnTopic.objects.get(pk=topic.pk).last_heard_at is not None

    listen(broker_port, is_heard, told(firing.started_at, 20.0))
    topic.refresh_from_db()
    assert is_heard()
    assert topic.last_fault == ""
    assert firing.readings.count() == 0
