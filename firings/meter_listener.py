"""Listens to meters and loggers that publish by MQTT, and stores what they say.

A message is acknowledged only once its reading is stored or known to be useless, and the session
outlives the process: what a broker keeps for it at quality of service 1 comes when it is back
(MQTT 3.1.1, 4.1 and 4.4). The same message twice changes nothing.
"""

from __future__ import annotations

import logging
import ssl
import time
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import unquote, urlsplit

import paho.mqtt.client as mqtt
from django.db import close_old_connections
from django.utils import timezone

from firings.actions.kiln_topics import note_heard
from firings.actions.readings import add_kiln_readings
from firings.calculations.published_readings import JoinedReadings, MessageMapping, read_message
from firings.calculations.readings import Reading
from firings.models import Kiln, KilnTopic
from studio.refusals import Refusal

log = logging.getLogger(__name__)

CLIENT_ID = "wareboard-listener"
STORED_EVERY_S = 5.0
TOPICS_READ_EVERY_S = 20.0
RECONNECT_S, RETRY_S = 5.0, 1.0
AT_LEAST_ONCE = 1
KEPT_AT_MOST = 5000


@dataclass
class _Heard:
    """A message that waits to be stored."""

    topic: str
    kiln: Kiln
    reading: Reading | None
    fault: str
    message_id: int
    quality: int


class MeterListener:
    """One connection to one broker, for all kilns.

    `before_database`: called before the database is used after a while, to drop a connection that
    has died meanwhile.
    """

    def __init__(
        self, url: str, before_database: Callable[[], None] = close_old_connections
    ) -> None:
        self._before_database = before_database
        self._address = urlsplit(url)
        self._topics: dict[str, tuple[Kiln, MessageMapping]] = {}
        self._joined: dict[int, JoinedReadings] = defaultdict(JoinedReadings)
        self._waiting: list[_Heard] = []
        self._client = self._made_client()
        self.is_listening = False

    def run(self, is_over: Callable[[], bool]) -> None:
        """Listen until `is_over` says so; lost connections are made again."""
        stored_s = topics_s = -TOPICS_READ_EVERY_S
        while not is_over():
            now_s = time.monotonic()
            if now_s - topics_s >= TOPICS_READ_EVERY_S:
                self._read_topics()
                topics_s = now_s
            if not self._client.is_connected() and not self._connected():
                time.sleep(RETRY_S)
                continue
            self._client.loop(timeout=0.2)
            if now_s - stored_s >= STORED_EVERY_S or len(self._waiting) >= KEPT_AT_MOST:
                self.store()
                stored_s = now_s
        self.store()
        self._client.disconnect()

    def store(self) -> None:
        """Write what waits, kiln by kiln, then acknowledge it."""
        if not self._waiting:
            return
        self._before_database()
        waiting, self._waiting = self._waiting, []
        by_kiln: dict[Kiln, list[_Heard]] = defaultdict(list)
        for heard in waiting:
            by_kiln[heard.kiln].append(heard)
        for kiln, of_kiln in by_kiln.items():
            self._store_kiln(kiln, of_kiln)
        self._note(waiting)
        for heard in waiting:
            self._client.ack(heard.message_id, heard.quality)

    def _store_kiln(self, kiln: Kiln, of_kiln: list[_Heard]) -> None:
        moments = {heard.reading.at: heard for heard in of_kiln if heard.reading}
        readings = [heard.reading for heard in moments.values() if heard.reading]
        if not readings:
            return
        try:
            add_kiln_readings(at=timezone.now(), kiln=kiln, readings=readings)
        except Refusal as refusal:
            if refusal.code == "no_firing_running":
                return  # an idle kiln that is measured all the same is no fault
            if len(moments) == 1:
                of_kiln[-1].fault = refusal.message
                return
            # One message with a wrong clock must not take the others with it.
            for heard in moments.values():
                self._store_kiln(kiln, [heard])

    def _note(self, waiting: list[_Heard]) -> None:
        faults = {heard.topic: heard.fault for heard in waiting if heard.fault}
        now: datetime = timezone.now()
        for topic in dict.fromkeys(heard.topic for heard in waiting):
            note_heard(at=now, topic=topic, fault=faults.get(topic, ""))

    def _read_topics(self) -> None:
        """Take up topics that were set since, leave those that were dropped."""
        self._before_database()
        rows = KilnTopic.objects.select_related("kiln")
        topics = {row.topic: (row.kiln, row.mapping) for row in rows}
        if self._client.is_connected():
            for topic in self._topics.keys() - topics.keys():
                self._client.unsubscribe(topic)
            for topic in topics.keys() - self._topics.keys():
                self._client.subscribe(topic, AT_LEAST_ONCE)
        self._topics = topics

    def _connected(self) -> bool:
        host, is_tls = self._address.hostname or "", self._address.scheme == "mqtts"
        try:
            self._client.connect(host, self._address.port or (8883 if is_tls else 1883))
        except OSError as fault:
            log.warning("the MQTT broker %s cannot be reached: %s", host, fault)
            return False
        until_s = time.monotonic() + RECONNECT_S
        while not self._client.is_connected() and time.monotonic() < until_s:
            self._client.loop(timeout=0.1)
        return self._client.is_connected()

    def _made_client(self) -> mqtt.Client:
        client = mqtt.Client(
            mqtt.CallbackAPIVersion.VERSION2,
            client_id=CLIENT_ID,
            clean_session=False,
            manual_ack=True,
        )
        if self._address.username:
            password = unquote(self._address.password or "")
            client.username_pw_set(unquote(self._address.username), password)
        if self._address.scheme == "mqtts":
            client.tls_set_context(ssl.create_default_context())
        client.on_connect = self._on_connect
        client.on_message = self._on_message
        client.on_subscribe = self._on_subscribe
        client.on_disconnect = self._on_disconnect
        return client

    def _on_connect(
        self, client: mqtt.Client, _data: object, _flags: object, code: mqtt.ReasonCode, *_: object
    ) -> None:
        if code.is_failure:
            log.warning("the MQTT broker refuses the connection: %s", code)
            return
        # What was published while the connection was away is sent again, unacknowledged.
        self._waiting.clear()
        for topic in self._topics:
            client.subscribe(topic, AT_LEAST_ONCE)

    def _on_subscribe(self, *_: object) -> None:
        self.is_listening = True

    def _on_disconnect(self, *_: object) -> None:
        self.is_listening = False

    def _on_message(self, client: mqtt.Client, _data: object, message: mqtt.MQTTMessage) -> None:
        known = self._topics.get(message.topic)
        if known is None:
            client.ack(message.mid, message.qos)
            return
        kiln, mapping = known
        reading, fault = None, ""
        try:
            told = read_message(message.payload, mapping, timezone.now())
            reading = self._joined[kiln.pk].join(told)
        except ValueError as error:
            fault = str(error)
        heard = _Heard(message.topic, kiln, reading, fault, message.mid, message.qos)
        self._waiting.append(heard)
