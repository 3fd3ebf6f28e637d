"""The page on which the treasurer takes the journal out, and the file it gives."""

from __future__ import annotations

from typing import Any

import pytest
from django.test import Client

from tests.billing.conftest import Books
from tests.billing.faces_scene import priced, text_of

PAGE = "/books/journal/export/"
FILE = "/books/journal/export/file/"
MARCH_AS = "?first=2026-03-01&last=2026-03-31&file_format="


def test_page_offers_this_year_and_the_formats(books: Books, tess: Client) -> None:
    page = text_of(tess.get(PAGE))
    for words in ('value="2026-01-01"', 'value="2026-04-02"', "beancount", "hledger", FILE):
        assert words in page
    assert f'href="{PAGE}"' in text_of(tess.get("/books/journal/"))


@pytest.mark.parametrize(
    ("file_format", "name", "kind", "begins"),
    [
        ("csv", "journal-2026-03-01-to-2026-03-31.csv", "text/csv", "\ufeffEntry,"),
        ("beancount", "journal-2026-03-01-to-2026-03-31.beancount", "text/plain", 'option "title"'),
        ("hledger", "journal-2026-03-01-to-2026-03-31.journal", "text/plain", "; Ashbank Studio"),
    ],
)
def test_file_is_downloaded(
    books: Books, tess: Client, file_format: str, name: str, kind: str, begins: str
) -> None:
    priced(books)
    answer = tess.get(FILE + MARCH_AS + file_format)
    assert answer.status_code == 200
    assert answer["Content-Type"] == f"{kind}; charset=utf-8"
    assert answer["Content-Disposition"] == f'attachment; filename="{name}"'
    assert answer["Cache-Control"] == "private, no-store"
    text = answer.getvalue().decode()
    assert text.startswith(begins)
    assert "Receivable" in text


def test_file_has_no_more_than_its_days(books: Books, tess: Client) -> None:
    priced(books)
    text = tess.get(f"{FILE}?first=2026-02-01&last=2026-02-28&file_format=csv").getvalue().decode()
    assert text.count("\r\n") == 1


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("", "This field is required."),
        ("?first=2026-03-31&last=2026-03-01&file_format=csv", "lies before the first one"),
        ("?first=soon&last=2026-03-01&file_format=csv", "Enter a valid date."),
        (MARCH_AS + "abacus", "Select a valid choice."),
        ("?first=1066-10-14&last=2026-03-01&file_format=csv", "the years 1900 to 2099"),
    ],
)
def test_impossible_wishes_are_answered_in_words(
    books: Books, tess: Client, asked: str, words: str
) -> None:
    answer = tess.get(FILE + asked)
    assert answer.status_code == 422
    assert words in text_of(answer)


@pytest.mark.parametrize("address", [PAGE, FILE + MARCH_AS + "csv"])
def test_export_is_the_treasurers_alone(
    books: Books, ada: Client, mara: Client, address: str
) -> None:
    assert [client.get(address).status_code for client in (ada, mara)] == [403, 403]
    assert Client().get(address).status_code == 302


@pytest.mark.parametrize("rows", [1, 3])
def test_file_asks_the_same_number_of_questions(
    books: Books, tess: Client, rows: int, django_assert_num_queries: Any
) -> None:
    for _ in range(rows):
        priced(books)
    # session, person, roles, studio twice; the ends, the balances, the entries, their postings
    with django_assert_num_queries(9):
        assert tess.get(FILE + MARCH_AS + "csv").getvalue()
