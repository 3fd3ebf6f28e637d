"""The treasurer's pages about what the bank says."""

from __future__ import annotations

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext

from billing.actions.balances import balance_minor_of
from billing.actions.payments import record_payment
from billing.models import BankFile, BankLine, Payment
from tests.billing.bank_scene import Entry, a_line, by_reference, camt, taken_in
from tests.billing.conftest import Books
from tests.billing.faces_scene import signed_in, text_of
from tests.billing.scene import AFTER_MARCH

TABLE = """Day;Name;Text;Amount
01.04.2026;Ada Rowan;account 101;5,79
02.04.2026;Town works;power;-80,00
"""
AS_GUESSED = {
    "role_0": "date",
    "role_1": "name",
    "role_2": "text",
    "role_3": "amount",
    "date_order": "day_first",
    "decimal_mark": ",",
    "first_line": "2",
}


def send(client: Client, content: bytes | str, name: str = "bank.xml") -> object:
    content = content.encode() if isinstance(content, str) else content
    return client.post("/books/bank/send/", {"file": SimpleUploadedFile(name, content)})


@pytest.mark.parametrize("address", ["", "send/", "files/", "dealt-with/"])
def test_the_bank_is_the_treasurers_alone(
    books: Books, tess: Client, mara: Client, ada: Client, address: str
) -> None:
    answers = [client.get(f"/books/bank/{address}").status_code for client in (tess, mara, ada)]
    assert answers == [200, 403, 403]


def test_every_page_of_a_line_and_a_file_opens(books: Books, tess: Client, mara: Client) -> None:
    line = a_line(books)
    pages = [f"lines/{line.pk}/", f"lines/{line.pk}/set-aside/", f"files/{line.file_id}/"]
    for page in [*pages, f"lines/{line.pk}/bring-back/"]:
        answer = tess.get(f"/books/bank/{page}")
        assert (answer.status_code, "Ada Rowan" in text_of(answer)) == (200, True), page
        assert mara.get(f"/books/bank/{page}").status_code == 403
    assert tess.get("/books/bank/lines/0/").status_code == 404


def test_a_statement_is_sent_and_its_certain_lines_confirmed(books: Books, tess: Client) -> None:
    answer = send(tess, camt(by_reference(101), by_reference(102), Entry(name="Nobody")))
    assert (answer.status_code, answer.url) == (303, "/books/bank/")
    page = tess.get("/books/bank/")
    assert "Confirm 2 certain lines" in text_of(page)
    assert "3 lines are new." in text_of(page)
    assert "its payment reference" in text_of(page)
    choices = [f"{line.pk}:{account.number}" for line, account in page.context["certain"]]
    answer = tess.post("/books/bank/certain/", {"choice": choices}, follow=True)
    assert "2 payments recorded." in text_of(answer)
    assert Payment.objects.count() == 2
    assert "Nothing speaks for any account." in text_of(answer)


def test_a_choice_that_is_none_confirms_nothing(books: Books, tess: Client) -> None:
    line = a_line(books)
    for choice in ("0:101", f"{line.pk}:999", "x", ""):
        answer = tess.post("/books/bank/certain/", {"choice": [choice]}, follow=True)
        assert "Look at the list again" in text_of(answer)
    assert not Payment.objects.exists()


def test_a_proposal_is_confirmed_with_its_button(books: Books, tess: Client) -> None:
    line = a_line(books)
    answer = tess.post(f"/books/bank/lines/{line.pk}/confirm/", {"account": "101"})
    assert (answer.status_code, answer.url) == (303, "/books/bank/")
    assert balance_minor_of(books.ada_account, AFTER_MARCH.date()) == -579
    again = tess.post(f"/books/bank/lines/{line.pk}/confirm/", {"account": "101"}, follow=True)
    assert "was taken as a payment of account 101" in text_of(again)
    assert tess.get(f"/books/bank/lines/{line.pk}/confirm/").status_code == 405


def test_a_line_that_may_be_paid_needs_a_tick(books: Books, tess: Client) -> None:
    record_payment(
        by=books.treasurer,
        at=AFTER_MARCH,
        account=books.ada_account,
        received_on=AFTER_MARCH.date(),
        amount_minor=579,
        method="cash",
    )
    address = f"/books/bank/lines/{a_line(books).pk}/"
    page = text_of(tess.get("/books/bank/"))
    assert "May be the payment of" in page
    assert "certain line" not in page
    assert 'name="confirm_duplicate"' not in text_of(tess.get(address))
    answer = tess.post(address, {"account": books.ada_account.pk})
    assert answer.status_code == 409
    assert 'name="confirm_duplicate"' in text_of(answer)
    sure = {"account": books.ada_account.pk, "confirm_duplicate": "on"}
    assert tess.post(address, sure).status_code == 303
    assert Payment.objects.count() == 2


def test_a_line_is_set_aside_and_brought_back(books: Books, tess: Client) -> None:
    address = f"/books/bank/lines/{a_line(books).pk}/"
    assert tess.post(f"{address}set-aside/", {"reason": ""}).status_code == 422
    assert tess.post(f"{address}set-aside/", {"reason": "a grant"}).status_code == 303
    assert "Nothing waits" in text_of(tess.get("/books/bank/"))
    assert "a grant" in text_of(tess.get("/books/bank/dealt-with/"))
    assert "Let it wait again" in text_of(tess.get(address))
    assert tess.post(f"{address}bring-back/", {"reason": "no grant"}).status_code == 303
    assert BankLine.objects.waiting().count() == 1


def test_a_taken_line_shows_whose_it_became(books: Books, tess: Client) -> None:
    line = a_line(books)
    tess.post(f"/books/bank/lines/{line.pk}/confirm/", {"account": "102"})
    page = text_of(tess.get(f"/books/bank/lines/{line.pk}/"))
    assert "102 Ben Sallow" in page
    assert "Take the payment back" in page
    assert "102 Ben Sallow" in text_of(tess.get("/books/bank/dealt-with/?state=taken"))


def test_what_to_look_at_is_shown_after_sending(books: Books, tess: Client) -> None:
    answer = send(tess, camt(by_reference(), closing="110.79"))
    assert answer.url == f"/books/bank/files/{BankFile.objects.get().pk}/"
    assert "does not add up" in text_of(tess.get(answer.url))
    assert "1 warning" in text_of(tess.get("/books/bank/files/"))


# --- Tables -------------------------------------------------------------------------------------


def test_a_table_is_looked_at_and_taken_in(books: Books, tess: Client) -> None:
    sent = send(tess, TABLE, "bank.csv")
    assert sent.url.startswith("/books/bank/columns/")
    page = tess.get(sent.url)
    assert "parted by a semicolon" in text_of(page)
    guessed = {bound.name: str(bound.value()) for bound in page.context["form"]}
    assert guessed == AS_GUESSED
    assert not BankFile.objects.exists()
    assert tess.post(sent.url, AS_GUESSED).url == "/books/bank/"
    assert BankLine.objects.count() == 2
    assert tess.get(sent.url).status_code == 404


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"role_3": "unused"}, "Say which column holds the amount"),
        ({"role_2": "name"}, "Name of the other side: the column Name holds it already."),
        ({"decimal_mark": "."}, "is no amount with a decimal point"),
        ({"date_order": "iso"}, "Line 2: &#x27;01.04.2026&#x27; is no day"),
        ({"first_line": "1"}, "Line 1: &#x27;Day&#x27; is no day"),
        ({"first_line": "0"}, "greater than or equal to 1"),
        ({"role_0": "planet"}, "Select a valid choice"),
    ],
)
def test_a_wrong_mapping_takes_nothing_in(
    books: Books, tess: Client, changes: dict[str, str], says: str
) -> None:
    sent = send(tess, TABLE, "bank.csv")
    answer = tess.post(sent.url, {**AS_GUESSED, **changes})
    assert (answer.status_code, says in text_of(answer)) == (422, True)
    assert not BankFile.objects.exists()


def test_a_table_waits_for_its_sender_alone(books: Books, tess: Client) -> None:
    sent = send(tess, TABLE, "bank.csv")
    other = books.manager
    other.role_holdings.create(role="treasurer")
    assert signed_in(other).get(sent.url).status_code == 404
    assert tess.get(sent.url).status_code == 200


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("", "This file is empty"),
        ("hello", "none has a day in it"),
        ("<!DOCTYPE a [<!ENTITY b 'c'>]><a>&b;</a>", "document type or entities"),
        (camt(Entry(currency="CHF")), "kept in EUR"),
        (b"PK\x03\x04", "Save it as CSV"),
    ],
)
def test_a_wrong_file_is_refused_at_its_field(
    books: Books, tess: Client, content: bytes | str, says: str
) -> None:
    answer = send(tess, content)
    assert answer.status_code == 422
    assert says in text_of(answer)
    assert answer.context["form"].errors["file"]
    assert not BankFile.objects.exists()


def test_the_same_file_is_recognised_before_it_is_looked_at(books: Books, tess: Client) -> None:
    sent = send(tess, TABLE, "bank.csv")
    tess.post(sent.url, AS_GUESSED)
    for again in (send(tess, TABLE, "other.csv"), send(tess, TABLE)):
        assert again.status_code == 409
        assert "taken in already, on 2 April 2026 by Tess Till" in text_of(again)


# --- Queries ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("address", "queries"), [("", 10), ("dealt-with/?state=taken", 6), ("files/", 6)]
)
def test_lists_ask_as_often_for_one_as_for_three(
    books: Books, tess: Client, address: str, queries: int
) -> None:
    counts = []
    for many in (1, 3):
        entries = [by_reference(amount=f"{many}.0{n}") for n in range(many)]
        kept = taken_in(books, *entries, name=f"{many}.xml")
        if "taken" in address:
            for line in kept.lines.all():
                tess.post(f"/books/bank/lines/{line.pk}/confirm/", {"account": "101"})
        tess.get(f"/books/bank/{address}")
        with CaptureQueriesContext(connection) as captured:
            tess.get(f"/books/bank/{address}")
        counts.append(len(captured))
    assert counts == [queries, queries]
