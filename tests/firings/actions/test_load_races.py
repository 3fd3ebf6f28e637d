"""Two people touch one booking at once: what is in a kiln and what is not stays true.

One deed is let in after the other has looked, and waits for its lock.
"""

import threading
from collections.abc import Callable

import pytest
from django.db import connection, connections

from firings.actions import bookings, start
from firings.actions.bookings import decline_booking, withdraw_booking
from firings.actions.load import fill_load
from firings.actions.plan_firing import announce_firing, begin_loading
from firings.models import BookingState, FiringState
from firings.refusals import WareRefusal
from tests import scene
from tests.scene import NOON
from tests.waiting import until

pytestmark = pytest.mark.django_db(transaction=True)


class Rival:
    """A deed in a thread of its own; `told` is what came of it."""

    def __init__(self, deed: Callable[[], object]) -> None:
        self.deed, self.told, self.begun = deed, "", threading.Event()
        self.thread = threading.Thread(target=self._run)

    def _run(self) -> None:
        self.begun.set()
        try:
            self.deed()
            self.told = "done"
        except WareRefusal as refusal:
            self.told = refusal.code
        finally:
            connections.close_all()

    def come_in(self, *_: object, **__: object) -> None:
        """Begin, and go on here once it waits for what is held here."""
        self.thread.start()
        until(self._waits)

    def _waits(self) -> bool:
        if connection.vendor == "sqlite":  # there it waits to begin its transaction
            return self.begun.is_set()
        with connection.cursor() as cursor:
            cursor.execute("SELECT count(*) FROM pg_locks WHERE NOT granted")
            return bool(cursor.fetchone()[0])


@pytest.fixture
def cosmo():
    return scene.crew()


def test_ware_is_not_declined_out_of_a_kiln_that_is_just_started(cosmo, monkeypatch):
    kiln, ines = scene.kiln(), scene.person("Ines")
    booking = scene.booking(ines)
    firing = scene.loading(cosmo, kiln)
    rival = Rival(lambda: decline_booking(by=cosmo, at=NOON, booking=booking, reason="wet"))
    monkeypatch.setattr(start, "_tell_members", rival.come_in)
    scene.started(cosmo, firing)
    rival.thread.join()
    booking.refresh_from_db()
    firing.refresh_from_db()
    assert (firing.state, booking.state) == (FiringState.FIRING, BookingState.PLACED)
    assert rival.told == "firing_started"


def test_ware_that_is_just_withdrawn_is_not_loaded(cosmo, monkeypatch):
    kiln, ines = scene.kiln(), scene.person("Ines")
    firing = announce_firing(by=cosmo, at=NOON, firing=scene.planned(cosmo, kiln))
    booking = scene.booking(ines, firing=firing)
    begin_loading(by=cosmo, at=NOON, firing=firing)
    rival = Rival(lambda: fill_load(by=cosmo, at=NOON, firing=firing))
    change_state = bookings.change_state

    def change_state_and_let_in(*words: object, **named: object) -> None:
        change_state(*words, **named)
        if rival.thread.ident is None:
            rival.come_in()

    monkeypatch.setattr(bookings, "change_state", change_state_and_let_in)
    withdraw_booking(by=ines, at=NOON, booking=booking)
    rival.thread.join()
    booking.refresh_from_db()
    assert (rival.told, booking.state) == ("done", BookingState.WITHDRAWN)
    assert firing.bookings.count() == 0
