from __future__ import annotations

from collections.abc import Iterator

import pytest
import time_machine
from django.test import Client

from tests.billing.conftest import Books
from tests.billing.faces_scene import signed_in
from tests.billing.scene import AFTER_MARCH


@pytest.fixture(autouse=True)
def on_2_april() -> Iterator[None]:
    with time_machine.travel(AFTER_MARCH, tick=False):
        yield


@pytest.fixture
def ada(books: Books) -> Client:
    return signed_in(books.ada)


@pytest.fixture
def ben(books: Books) -> Client:
    return signed_in(books.ben)


@pytest.fixture
def tess(books: Books) -> Client:
    """The treasurer."""
    return signed_in(books.treasurer)


@pytest.fixture
def mara(books: Books) -> Client:
    """The manager."""
    return signed_in(books.manager)
