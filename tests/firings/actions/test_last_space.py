"""Two people want the last space at once: never both get it. With the control that proves it."""

import threading
from datetime import timedelta

import pytest
from django.db import connections

from firings.actions import book
from firings.actions.plan_firing import announce_firing
from firings.models import Firing
from firings.refusals import WareRefusal
from tests import scene
from tests.scene import NOON

FULL_SHELF = {"shelf_fraction": "full", "shelf_height_mm": 90}


@pytest.fixture
def firing(transactional_db: None) -> Firing:
    """An announced firing with room for one more full shelf."""
    by, kiln = scene.crew(), scene.kiln()
    later = NOON + timedelta(days=3)
    firing = announce_firing(by=by, at=NOON, firing=scene.planned(by, kiln, planned_for=later))
    first = scene.person("First")
    for _ in range(2):
        scene.booking(first, firing=firing, **FULL_SHELF)
    return firing


def book_at_once(firing: Firing) -> list[str]:
    """Ines and Otto book in threads of their own, let go together; answer what each was told."""
    people = [scene.person(name) for name in ("Ines", "Otto")]
    scene.clay()
    barrier, told = threading.Barrier(len(people)), []

    def want(person):
        try:
            barrier.wait()
            scene.booking(person, firing=firing, **FULL_SHELF)
            told.append("booked")
        except WareRefusal as refusal:
            told.append(refusal.code)
        finally:
            connections.close_all()

    threads = [threading.Thread(target=want, args=(person,)) for person in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sorted(told)


def test_the_last_space_is_given_once(firing):
    assert book_at_once(firing) == ["booked", "firing_is_full"]
    assert firing.bookings.count() == 3


def test_control_a_look_before_the_lock_gives_it_twice(firing, monkeypatch):
    """The same two, told what an earlier look said: then both are booked, so the race is real."""
    monkeypatch.setattr(book, "promise_space", lambda *_: True)
    assert book_at_once(firing) == ["booked", "booked"]
    assert firing.bookings.count() == 4
