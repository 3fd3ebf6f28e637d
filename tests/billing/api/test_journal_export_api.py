"""The journal as a file, through the API."""

from __future__ import annotations

import pytest
from rest_framework.test import APIClient

from billing.actions.export_journal import FORMATS, export_journal
from tests.billing.conftest import Books
from tests.billing.faces_scene import priced
from tests.billing.scene import AFTER_MARCH

ADDRESS = "/api/v1/journal/export/"


@pytest.mark.parametrize("file_format", FORMATS)
def test_file_is_that_of_the_action(books: Books, tess: APIClient, file_format: str) -> None:
    priced(books)
    expected = export_journal(by=None, at=AFTER_MARCH, file_format=file_format)
    for accept in ("*/*", "application/json", "text/csv"):
        answer = tess.get(f"{ADDRESS}?file_format={file_format}", headers={"accept": accept})
        assert answer.status_code == 200
        assert answer["Content-Type"] == expected.content_type
        assert expected.file_name in answer["Content-Disposition"]
    assert answer.getvalue().decode() == "".join(expected.pieces)


@pytest.mark.parametrize(
    ("asked", "status", "field"),
    [
        ("", 400, "file_format"),
        ("?file_format=abacus", 400, "file_format"),
        ("?file_format=csv&first=soon", 400, "first"),
        ("?file_format=csv&first=2026-03-02&last=2026-03-01", 422, "last"),
        ("?file_format=csv&last=9999-12-31", 422, "last"),
    ],
)
def test_impossible_wishes_name_their_field(
    books: Books, tess: APIClient, asked: str, status: int, field: str
) -> None:
    answer = tess.get(ADDRESS + asked)
    assert (answer.status_code, list(answer.json()["fields"])) == (status, [field])


def test_export_is_the_treasurers_alone(books: Books, ada: APIClient, mara: APIClient) -> None:
    address = f"{ADDRESS}?file_format=csv"
    for client in (ada, mara):
        answer = client.get(address)
        assert (answer.status_code, answer.json()["code"]) == (403, "permission_denied")
    assert APIClient().get(address).status_code == 401
