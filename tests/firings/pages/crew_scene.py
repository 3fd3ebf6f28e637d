"""A firing at each step of its way, up to the present: what the pages for crew are tested on."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from firings.actions.open_and_unload import open_firing
from firings.actions.readings import add_firing_readings
from firings.models import Booking, Firing, Kiln
from studio.models import Person
from tests import scene


def client_of(person: Person) -> Client:
    """A browser in which this person has signed in."""
    client = Client()
    client.force_login(person)
    return client


def queries_of(client: Client, path: str) -> int:
    """How many queries a page takes; it must answer."""
    with CaptureQueriesContext(connection) as queries:
        assert client.get(path).status_code == 200
    return len(queries)


@dataclass
class Way:
    """A kiln, its crew and a member with four mugs; each method takes the firing a step on."""

    crew: Person
    member: Person
    kiln: Kiln
    booking: Booking
    now: datetime

    def planned(self, **fields: object) -> Firing:
        return scene.planned(self.crew, self.kiln, at=self.now, **fields)

    def loading(self, hours_ago: float = 0) -> Firing:
        return scene.loading(self.crew, self.kiln, at=self.now - timedelta(hours=hours_ago))

    def started(self, hours_ago: float = 5) -> Firing:
        firing = self.loading(hours_ago)
        return scene.started(self.crew, firing, at=self.now - timedelta(hours=hours_ago))

    def hot(self, hours_ago: float = 5) -> Firing:
        """With a log up to now: it rises for eight hours and falls for twenty."""
        firing = self.started(hours_ago)
        readings = [r for r in scene.log(firing.started_at, step_minutes=10) if r.at <= self.now]
        add_firing_readings(by=None, at=self.now, firing=firing, readings=readings, source="logger")
        firing.refresh_from_db()
        return firing

    def cooling(self) -> Firing:
        return self.hot(hours_ago=20)

    def cooled(self) -> Firing:
        return self.hot(hours_ago=30)

    def opened(self) -> Firing:
        firing = self.cooled()
        return open_firing(by=self.crew, at=self.now, firing=firing, temp_c=44)


def make_way() -> Way:
    now = timezone.now()
    kiln = scene.kiln()
    member = scene.person("Ines")
    before = now - timedelta(days=3)
    return Way(
        crew=scene.crew(),
        member=member,
        kiln=kiln,
        booking=scene.booking(member, at=before),
        now=now,
    )
