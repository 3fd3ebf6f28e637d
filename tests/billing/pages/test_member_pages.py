"""A member's account, statements and workings; nobody reads those of others."""

from __future__ import annotations

import pytest
from django.test import Client

from billing.models import Share
from studio.models import Account
from tests.billing.conftest import Books
from tests.billing.faces_scene import closed_march, priced, statement_of, text_of
from tests.billing.scene import NOON


def test_account_shows_balance_and_charges_with_their_working(books: Books, ada: Client) -> None:
    priced(books)
    page = text_of(ada.get("/account/"))
    assert "€5.79" in page
    assert "to pay" in page
    assert "€3.47" in page
    assert "€2.32" in page
    assert books.ada_account.shares.count() == 2
    for share in books.ada_account.shares.all():
        assert f'href="/shares/{share.pk}/"' in page


def test_account_lists_statements_and_what_came_after(books: Books, ada: Client) -> None:
    priced(books)
    closed_march(books)
    page = text_of(ada.get("/account/"))
    assert f'href="/statements/{statement_of(books.ada_account).number}/"' in page
    assert "Since the last close" in page
    assert "€3.47" not in page


def test_person_without_an_account_is_told_whom_to_ask(books: Books, ada: Client) -> None:
    books.ada.account = None
    books.ada.save()
    assert "Ask the studio manager" in text_of(ada.get("/account/"))


def test_home_shows_balance_and_newest_statement(books: Books, ada: Client) -> None:
    priced(books)
    closed_march(books)
    page = text_of(ada.get("/"))
    assert "€5.79" in page
    assert f"statement {statement_of(books.ada_account).number} for March 2026" in page


def test_statement_page_says_what_the_pdf_says(books: Books, ada: Client) -> None:
    priced(books)
    closed_march(books)
    statement = statement_of(books.ada_account)
    page = text_of(ada.get(statement.get_absolute_url()))
    for words in (
        "Opening balance",
        "Closing balance",
        "Thu 16 Apr 2026",
        "Glaze firing",
        "Old Faithful",
        "How to pay",
        "Bank transfer to Ashbank Studio",
        *(sentence for line in statement.content["lines"] for sentence in line["working"]),
    ):
        assert words in page
    for share in books.ada_account.shares.all():
        assert f'href="/shares/{share.pk}/"' in page


def test_statement_downloads_as_pdf(books: Books, ada: Client) -> None:
    priced(books)
    closed_march(books)
    number = statement_of(books.ada_account).number
    answer = ada.get(f"/statements/{number}/pdf/")
    assert answer["Content-Type"] == "application/pdf"
    assert f"statement-{number}.pdf" in answer["Content-Disposition"]
    assert answer.content.startswith(b"%PDF-")


def test_working_can_be_repeated_from_the_page(books: Books, ada: Client) -> None:
    """Every figure of the hand calculation in test_price_firing stands on the page."""
    cost = priced(
        books,
        register_start_wh=1_000_000,
        register_end_wh=1_042_300,
        energy_uncertainty_wh=490,
    )
    share = Share.objects.get(cost=cost, amount_minor=347)
    page = text_of(ada.get(f"/shares/{share.pk}/"))
    for words in (
        "42.300 kWh",
        "± 0.980 kWh",
        "meter at the end 1,042.300 − at the start 1,000.000 = 42.300 kWh",
        "0.21",
        "8.883",
        "€8.88",
        "counted in firings",
        "€60.00 ÷ 300 × 1 = <strong>€0.20</strong>",
        "€1.50",
        "€1.00",
        "€11.58",
        "300.00 cm²",
        "€11.58 × 300.00 ÷ 1,000.00 = 3.474",
        "<strong>€3.47</strong>",
        "yours was not among them",
    ):
        assert words in page


def test_working_of_a_carried_firing_says_who_carries_it(books: Books, ada: Client) -> None:
    cost = priced(books, is_kiln_fault=True)
    share = cost.shares.filter(account=books.ada_account).first()
    page = text_of(ada.get(f"/shares/{share.pk}/"))
    assert "The studio carries this cost: the kiln itself spoiled the firing" in page


def test_working_of_a_reversed_cost_says_so(books: Books, ada: Client) -> None:
    cost = priced(books)
    cost.reversed_at = NOON
    cost.save(update_fields=["reversed_at"])
    share = cost.shares.filter(account=books.ada_account).first()
    assert "This charge was taken back" in text_of(ada.get(f"/shares/{share.pk}/"))


def test_others_read_neither_statement_nor_working(books: Books, ben: Client) -> None:
    cost = priced(books)
    closed_march(books)
    number = statement_of(books.ada_account).number
    share = cost.shares.filter(account=books.ada_account).first()
    for address in (
        f"/statements/{number}/",
        f"/statements/{number}/pdf/",
        f"/shares/{share.pk}/",
    ):
        assert ben.get(address).status_code == 404


def test_treasurer_reads_every_statement_and_working(books: Books, tess: Client) -> None:
    cost = priced(books)
    closed_march(books)
    number = statement_of(books.ada_account).number
    assert "Ada Rowan" in text_of(tess.get(f"/statements/{number}/"))
    share = cost.shares.filter(account=books.ada_account).first()
    assert tess.get(f"/shares/{share.pk}/").status_code == 200


def test_person_without_an_account_reads_nobodys_statement(books: Books, ada: Client) -> None:
    priced(books)
    closed_march(books)
    number = statement_of(books.ada_account).number
    books.ada.account = None
    books.ada.save()
    assert ada.get(f"/statements/{number}/").status_code == 404


@pytest.mark.parametrize("address", ["/account/", "/statements/1/", "/shares/1/", "/books/"])
def test_strangers_are_asked_to_sign_in(db: None, client: Client, address: str) -> None:
    answer = client.get(address)
    assert (answer.status_code, answer.url.split("?")[0]) == (302, "/entry/login/")


@pytest.mark.parametrize("rows", [1, 3])
def test_account_page_asks_the_same_number_of_questions(
    books: Books, ada: Client, rows: int, django_assert_num_queries: object
) -> None:
    for _ in range(rows):
        priced(books)
    assert Account.objects.count() == 2
    with django_assert_num_queries(13):
        ada.get("/account/")
