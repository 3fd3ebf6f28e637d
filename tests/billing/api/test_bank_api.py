"""The bank's files and lines by the API."""

from __future__ import annotations

import json
from typing import Any

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test.utils import CaptureQueriesContext
from rest_framework.test import APIClient

from billing.models import BankFile, BankLine, Payment
from tests.billing.bank_scene import Entry, a_line, by_reference, camt, taken_in
from tests.billing.conftest import Books

API = "/api/v1"
TABLE = b"Day;Name;Amount\n01.04.2026;Ada Rowan;5,79\n"


def send(client: APIClient, content: bytes, where: str = "", **fields: Any) -> Any:
    sent = {"file": SimpleUploadedFile("bank.xml", content), **fields}
    return client.post(f"{API}/bank-files/{where}", sent, format="multipart")


@pytest.mark.parametrize("name", ["bank-files", "bank-lines"])
def test_the_bank_is_the_treasurers(
    books: Books, tess: APIClient, mara: APIClient, ada: APIClient, name: str
) -> None:
    answers = [client.get(f"{API}/{name}/").status_code for client in (tess, mara, ada)]
    assert answers == [200, 403, 403]
    assert APIClient().get(f"{API}/{name}/").status_code == 401


def test_a_statement_is_sent_and_its_lines_are_proposed(books: Books, tess: APIClient) -> None:
    answer = send(tess, camt(by_reference(), Entry(name="Nobody")))
    made = answer.json()
    assert (answer.status_code, made["kind"], made["lines_count"]) == (201, "camt053", 2)
    assert tess.get(f"{API}/bank-files/{made['id']}/").json() == made
    lines = tess.get(f"{API}/bank-lines/?state=proposed").json()["results"]
    assert sorted(len(line["proposals"]) for line in lines) == [0, 1]
    (proposal,) = next(line["proposals"] for line in lines if line["proposals"])
    assert proposal == {
        "account": 101,
        "why": "its payment reference; Ada Rowan is a name of it",
        "is_certain": True,
        "same_payments": [],
    }
    assert tess.get(f"{API}/bank-lines/?state=lost").status_code == 400


def test_a_table_is_previewed_and_sent_with_the_mapping(books: Books, tess: APIClient) -> None:
    guessed = send(tess, TABLE, "preview/").json()
    assert [column["role"] for column in guessed["columns"]] == ["date", "name", "amount"]
    names = ("delimiter", "decimal_mark", "date_order", "first_line")
    columns = [{name: one[name] for name in ("index", "role")} for one in guessed["columns"]]
    mapping = {**{name: guessed[name] for name in names}, "columns": columns}
    assert not BankFile.objects.exists()
    assert send(tess, TABLE, mapping=json.dumps(mapping)).status_code == 201
    assert BankLine.objects.get().amount_minor == 579
    again = send(tess, TABLE, mapping=json.dumps(mapping))
    assert (again.status_code, again.json()["code"]) == (409, "bank_file_twice")


@pytest.mark.parametrize(
    ("content", "fields", "status", "code"),
    [
        (TABLE, {}, 422, "bank_file_needs_mapping"),
        (TABLE, {"mapping": "{"}, 400, "invalid"),
        (TABLE, {"mapping": "[" * 100_000}, 400, "invalid"),
        (TABLE, {"mapping": '{"delimiter": ";"}'}, 400, "invalid"),
        (TABLE, {"maping": "{}"}, 400, "invalid"),
        (camt(Entry(currency="CHF")), {}, 422, "bank_file_wrong"),
        (b"<!DOCTYPE a><a/>", {}, 422, "bank_file_wrong"),
    ],
)
def test_a_wrong_file_is_refused(
    books: Books,
    tess: APIClient,
    content: bytes,
    fields: dict[str, str],
    status: int,
    code: str,
) -> None:
    answer = send(tess, content, **fields)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert not BankFile.objects.exists()


def test_every_fault_is_told_to_programs(books: Books, tess: APIClient) -> None:
    told = send(tess, camt(Entry(currency="CHF"), Entry(amount="1.234"))).json()["facts"]
    assert len(told["faults"]) == 2


def test_a_line_is_confirmed_once(books: Books, tess: APIClient) -> None:
    address = f"{API}/bank-lines/{a_line(books).pk}"
    answer = tess.post(f"{address}/confirm/", {"account": 101})
    assert (answer.status_code, answer.json()["amount_minor"]) == (201, 579)
    again = tess.post(f"{address}/confirm/", {"account": 102})
    assert (again.status_code, again.json()["code"]) == (409, "bank_line_taken")
    assert tess.get(f"{address}/").json()["payment"] == answer.json()["id"]
    assert Payment.objects.count() == 1
    assert tess.post(f"{address}/confirm/", {"account": 999}).status_code == 400


def test_several_lines_are_confirmed_or_none(books: Books, tess: APIClient) -> None:
    lines = taken_in(books, by_reference(101), by_reference(102)).lines.order_by("line")
    chosen = [
        {"line": line.pk, "account": number} for line, number in zip(lines, (101, 102), strict=True)
    ]
    answer = tess.post(f"{API}/bank-lines/confirm/", {"lines": chosen}, format="json")
    assert (answer.status_code, len(answer.json())) == (201, 2)
    again = tess.post(f"{API}/bank-lines/confirm/", {"lines": chosen}, format="json")
    assert again.json()["code"] == "bank_line_taken"
    empty = tess.post(f"{API}/bank-lines/confirm/", {"lines": []}, format="json")
    assert empty.status_code == 400


def test_a_line_is_set_aside_and_brought_back(books: Books, tess: APIClient) -> None:
    address = f"{API}/bank-lines/{a_line(books).pk}"
    assert tess.post(f"{address}/set-aside/", {}).status_code == 400
    aside = tess.post(f"{address}/set-aside/", {"reason": "a grant"}).json()
    assert (aside["state"], aside["reason"], aside["proposals"]) == ("set_aside", "a grant", [])
    back = tess.post(f"{address}/bring-back/", {"reason": "no"}).json()
    assert (back["state"], len(back["proposals"])) == ("proposed", 1)


@pytest.mark.parametrize(("name", "queries"), [("bank-lines", 8), ("bank-files", 4)])
def test_lists_ask_as_often_for_one_as_for_three(
    books: Books, tess: APIClient, name: str, queries: int
) -> None:
    tess.get(f"{API}/{name}/")  # notes once a day that the token was used
    counts = []
    for many in (1, 3):
        entries = [by_reference(amount=f"{many}.0{n}") for n in range(many)]
        taken_in(books, *entries, name=f"{many}.xml")
        with CaptureQueriesContext(connection) as captured:
            tess.get(f"{API}/{name}/")
        counts.append(len(captured))
    assert counts == [queries, queries]
