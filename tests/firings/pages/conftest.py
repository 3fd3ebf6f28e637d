"""What the tests of pages stand on."""

import pytest
from django.test import Client

from firings.facts import firing_aborted, firing_closed
from tests.firings.pages.crew_scene import Way, client_of, make_way


@pytest.fixture
def way(db: None) -> Way:
    return make_way()


@pytest.fixture
def crew_client(way: Way) -> Client:
    return client_of(way.crew)


@pytest.fixture
def nobody_listens(monkeypatch):
    """What billing makes of a closed firing is billing's to test."""
    for fact in (firing_closed, firing_aborted):
        monkeypatch.setattr(fact, "receivers", [])
        fact.sender_receivers_cache.clear()
    yield
    for fact in (firing_closed, firing_aborted):
        fact.sender_receivers_cache.clear()
