from __future__ import annotations

from collections.abc import Iterator

import pytest
import time_machine
from rest_framework.test import APIClient

from studio.actions.access_tokens import create_access_token
from studio.models import Person
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_MARCH


@pytest.fixture(autouse=True)
def on_2_april() -> Iterator[None]:
    with time_machine.travel(AFTER_MARCH, tick=False):
        yield


def with_token(person: Person) -> APIClient:
    """A program with a token of `person`."""
    _token, secret = create_access_token(by=person, at=AFTER_MARCH, name="test")
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


@pytest.fixture
def ada(books: Books) -> APIClient:
    return with_token(books.ada)


@pytest.fixture
def ben(books: Books) -> APIClient:
    return with_token(books.ben)


@pytest.fixture
def tess(books: Books) -> APIClient:
    """The treasurer's program."""
    return with_token(books.treasurer)


@pytest.fixture
def mara(books: Books) -> APIClient:
    """The manager's program."""
    return with_token(books.manager)
