"""What the tests of pages stand on."""

import pytest
from django.test import Client

from tests.firings.pages.crew_scene import Way, client_of, make_way


@pytest.fixture
def way(db: None) -> Way:
    return make_way()


@pytest.fixture
def crew_client(way: Way) -> Client:
    return client_of(way.crew)
