"""The API of accounts and books: the same actions, and nobody reaches what is not theirs."""

from __future__ import annotations

from typing import Any

import pytest
from rest_framework.test import APIClient

from billing.actions.balances import balance_minor_of
from billing.models import FiringCost, JournalEntry, MonthClose, Payment, Statement, TariffVersion
from tests.billing.conftest import Books
from tests.billing.faces_scene import closed_march, priced, statement_of
from tests.billing.scene import AFTER_MARCH, make_account

API = "/api/v1"
TODAY = AFTER_MARCH.date()
FOR_TREASURER = ("month-closes", "month-closes/preview", "journal", "trial-balance")
FOR_MANAGER_TOO = ("balances", "firing-costs", "tariffs", "billing-policy")
FOR_ALL = ("statements", "shares", "payments", "accounts/101/balance")


def payment(**changes: Any) -> dict[str, Any]:
    usual = {"account": 101, "received_on": "2026-04-01", "amount_minor": 500, "method": "bank"}
    return {**usual, **changes}


# --- Who may call what ----------------------------------------------------------------------


@pytest.mark.parametrize("name", FOR_TREASURER + FOR_MANAGER_TOO + FOR_ALL)
def test_strangers_are_refused(db: None, name: str) -> None:
    assert APIClient().get(f"{API}/{name}/").status_code == 401


@pytest.mark.parametrize("name", FOR_TREASURER + FOR_MANAGER_TOO)
def test_books_are_the_treasurers(books: Books, tess: APIClient, ada: APIClient, name: str) -> None:
    assert tess.get(f"{API}/{name}/").status_code == 200
    answer = ada.get(f"{API}/{name}/")
    assert (answer.status_code, answer.json()["code"]) == (403, "permission_denied")
    assert "treasurer" in answer.json()["message"]


@pytest.mark.parametrize("name", FOR_MANAGER_TOO)
def test_manager_reads_them_too(books: Books, mara: APIClient, name: str) -> None:
    assert mara.get(f"{API}/{name}/").status_code == 200


@pytest.mark.parametrize("name", FOR_TREASURER)
def test_manager_keeps_no_journal(books: Books, mara: APIClient, name: str) -> None:
    assert mara.get(f"{API}/{name}/").status_code == 403


# --- What a member reads --------------------------------------------------------------------


def test_member_reads_the_own_balance_only(books: Books, ada: APIClient) -> None:
    priced(books)
    answer = ada.get(f"{API}/accounts/101/balance/").json()
    assert answer == {"account": 101, "on": "2026-04-02", "balance_minor": 579}
    assert ada.get(f"{API}/accounts/102/balance/").status_code == 404
    assert ada.get(f"{API}/accounts/999/balance/").status_code == 404


def test_member_reads_own_statements_shares_and_payments(books: Books, ada: APIClient) -> None:
    cost = priced(books)
    ben_share = cost.shares.get(account=books.ben_account)
    closed_march(books)
    mine, theirs = statement_of(books.ada_account), statement_of(books.ben_account)
    rows = ada.get(f"{API}/statements/").json()["results"]
    assert [(row["number"], row["account"], row["closing_minor"]) for row in rows] == [
        (mine.number, 101, 579)
    ]
    detail = ada.get(f"{API}/statements/{mine.number}/").json()
    assert detail["content"] == mine.content
    shares = ada.get(f"{API}/shares/").json()["results"]
    assert sorted(share["amount_minor"] for share in shares) == [232, 347]
    working = ada.get(f"{API}/shares/{shares[0]['id']}/").json()["working"]
    assert working["split"]["amount_minor"] == shares[0]["amount_minor"]
    for address in (
        f"statements/{theirs.number}",
        f"statements/{theirs.number}/pdf",
        f"shares/{ben_share.pk}",
    ):
        assert ada.get(f"{API}/{address}/").status_code == 404
    assert ada.get(f"{API}/shares/?account=102").json()["results"] == []


def test_statement_comes_as_pdf_whatever_is_accepted(books: Books, ada: APIClient) -> None:
    priced(books)
    closed_march(books)
    address = f"{API}/statements/{statement_of(books.ada_account).number}/pdf/"
    for accept in ("application/pdf", "application/json", "*/*"):
        answer = ada.get(address, headers={"accept": accept})
        assert answer["Content-Type"] == "application/pdf"
        assert answer.content.startswith(b"%PDF-")
    missing = ada.get(f"{API}/statements/999/pdf/", headers={"accept": "application/pdf"})
    assert missing.json()["code"] == "not_found"


def test_treasurer_asks_for_one_account(books: Books, tess: APIClient) -> None:
    priced(books)
    shares = tess.get(f"{API}/shares/?account=102").json()["results"]
    assert [share["amount_minor"] for share in shares] == [579]
    assert tess.get(f"{API}/shares/?account=Ada").status_code == 400


# --- Payments and credits -------------------------------------------------------------------


def test_payment_is_recorded_and_taken_back(books: Books, tess: APIClient) -> None:
    answer = tess.post(f"{API}/payments/", payment(reference="4711"))
    assert answer.status_code == 201
    made = answer.json()
    assert (made["account"], made["amount_minor"], made["is_reversed"]) == (101, 500, False)
    assert balance_minor_of(books.ada_account, TODAY) == -500
    address = f"{API}/payments/{made['id']}/reverse/"
    assert tess.post(address, {"reason": ""}).status_code == 400
    assert tess.post(address, {"reason": "returned"}).json()["is_reversed"] is True
    assert balance_minor_of(books.ada_account, TODAY) == 0
    again = tess.post(address, {"reason": "returned"})
    assert (again.status_code, again.json()["code"]) == (409, "reversed_already")


@pytest.mark.parametrize(
    ("changes", "status", "field"),
    [
        ({"amount_minor": 0}, 422, "amount_minor"),
        ({"amount_minor": 10**15}, 422, "amount_minor"),
        ({"amount_minor": 5.5}, 400, "amount_minor"),
        ({"amount_minor": "five"}, 400, "amount_minor"),
        ({"amount": 5}, 400, "amount"),
        ({"received_on": "2026-04-03"}, 422, "received_on"),
        ({"received_on": "2026-02-30"}, 400, "received_on"),
        ({"method": "shells"}, 400, "method"),
        ({"account": 77}, 400, "account"),
        ({"account": None}, 400, "account"),
    ],
)
def test_bad_payment_is_refused(
    books: Books, tess: APIClient, changes: dict[str, Any], status: int, field: str
) -> None:
    answer = tess.post(f"{API}/payments/", payment(**changes))
    assert (answer.status_code, list(answer.json()["fields"])) == (status, [field])
    assert not Payment.objects.exists()


def test_same_payment_needs_confirming(books: Books, tess: APIClient) -> None:
    tess.post(f"{API}/payments/", payment())
    again = tess.post(f"{API}/payments/", payment())
    assert (again.status_code, again.json()["code"]) == (409, "payment_twice")
    assert tess.post(f"{API}/payments/", payment(confirm_duplicate=True)).status_code == 201


def test_others_record_nothing(books: Books, ada: APIClient, mara: APIClient) -> None:
    for client in (ada, mara):
        assert client.post(f"{API}/payments/", payment()).status_code == 403
    assert not Payment.objects.exists()


def test_credit_is_given(books: Books, mara: APIClient, ada: APIClient) -> None:
    sent = {"amount_minor": 79, "reason": "a chip"}
    assert ada.post(f"{API}/accounts/101/credits/", sent).status_code == 403
    answer = mara.post(f"{API}/accounts/101/credits/", sent)
    assert answer.status_code == 201
    legs = [(leg["account"], leg["amount_minor"]) for leg in answer.json()["postings"]]
    assert legs == [("5200", 79), ("1200.101", -79)]
    assert mara.post(f"{API}/accounts/999/credits/", sent).status_code == 404
    for wrong in ({"amount_minor": 0}, {"amount_minor": -1}):
        assert mara.post(f"{API}/accounts/101/credits/", {**sent, **wrong}).status_code == 422


# --- Costs ----------------------------------------------------------------------------------


def test_cost_is_read_taken_back_and_priced_again(
    books: Books, tess: APIClient, mara: APIClient
) -> None:
    cost = priced(books)
    shown = mara.get(f"{API}/firing-costs/{cost.pk}/").json()
    assert [line["amount_minor"] for line in shown["lines"]] == [888, 20, 150, 100]
    assert [share["amount_minor"] for share in shown["shares"]] == [347, 579, 232]
    address = f"{API}/firing-costs/{cost.pk}/reverse/"
    assert mara.post(address, {"reason": "wrong"}).status_code == 403
    assert tess.post(address, {"reason": "wrong register"}).json()["reversed_at"]
    assert tess.post(address, {"reason": "again"}).status_code == 409
    answer = tess.post(f"{API}/firing-costs/", {"firing": cost.firing_id})
    assert (answer.status_code, answer.json()["pool_minor"]) == (201, 1158)
    again = tess.post(f"{API}/firing-costs/", {"firing": cost.firing_id})
    assert (again.status_code, again.json()["code"]) == (409, "firing_posted")
    assert FiringCost.objects.count() == 2


# --- Tariffs and policy ---------------------------------------------------------------------


def test_tariff_is_added_and_taken_back(books: Books, mara: APIClient) -> None:
    rates = {"kind": "flat", "price_per_kwh": "0.23"}
    sent = {"name": "Town works", "valid_from": "2026-05-01", "rates": rates}
    made = mara.post(f"{API}/tariffs/", sent)
    assert (made.status_code, made.json()["rates"]) == (201, rates)
    address = f"{API}/tariffs/{made.json()['id']}/"
    assert mara.delete(address).status_code == 204
    assert mara.get(address).status_code == 404


@pytest.mark.parametrize(
    ("changes", "status", "code"),
    [
        ({"rates": {"kind": "flat", "price_per_kwh": "cheap"}}, 422, "tariff_unusable"),
        ({"rates": {"kind": "flat", "price_per_kwh": 0.21}}, 422, "tariff_unusable"),
        ({"rates": {"kind": "moon"}}, 422, "tariff_unusable"),
        ({"rates": "0.21"}, 400, "invalid"),
        ({"rates": {"kind": "flat", "price_per_kwh": "21"}}, 409, "price_implausible"),
        ({"valid_from": "2026-01-01"}, 409, "tariff_day_taken"),
        ({"name": ""}, 400, "invalid"),
    ],
)
def test_bad_tariff_is_refused(
    books: Books, tess: APIClient, changes: dict[str, Any], status: int, code: str
) -> None:
    rates = {"kind": "flat", "price_per_kwh": "0.23"}
    sent = {"name": "Town works", "valid_from": "2026-05-01", "rates": rates, **changes}
    answer = tess.post(f"{API}/tariffs/", sent)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert TariffVersion.objects.count() == 1


def test_used_tariff_stays(books: Books, tess: APIClient) -> None:
    priced(books)
    answer = tess.delete(f"{API}/tariffs/{books.tariff.pk}/")
    assert (answer.status_code, answer.json()["code"]) == (409, "tariff_used")


def test_policy_changes_only_what_is_sent(books: Books, mara: APIClient, ada: APIClient) -> None:
    assert ada.patch(f"{API}/billing-policy/", {"payment_days": 30}).status_code == 403
    answer = mara.patch(f"{API}/billing-policy/", {"payment_days": 30}).json()
    assert (answer["payment_days"], answer["consumables_per_firing_minor"]) == (30, 150)
    assert mara.patch(f"{API}/billing-policy/", {"payment_days": 0}).status_code == 400


def test_policy_takes_bank_details_and_says_what_is_wrong_with_them(
    books: Books, mara: APIClient
) -> None:
    address = f"{API}/billing-policy/"
    bank = {"payee_name": "Ashbank Studio", "iban": "de89 3704 0044 0532 0130 00", "bic": ""}
    assert mara.patch(address, bank).json()["iban"] == "DE89370400440532013000"
    for wrong in ({"iban": "DE89370400440532013001"}, {"bic": "AGRI"}, {"payee_name": ""}):
        answer = mara.patch(address, wrong)
        assert (answer.status_code, answer.json()["code"]) == (422, f"{next(iter(wrong))}_wrong")
    assert mara.get(address).json()["iban"] == "DE89370400440532013000"


# --- Months ---------------------------------------------------------------------------------


def test_month_is_looked_at_and_closed_once(books: Books, tess: APIClient) -> None:
    cost = priced(books)
    unpriced = books.firing()
    preview = tess.get(f"{API}/month-closes/preview/").json()
    assert (preview["month"], preview["can_close"], preview["charges_minor"]) == (
        "2026-03-01",
        True,
        cost.pool_minor,
    )
    assert preview["firings_unpriced"] == [unpriced.pk]
    answer = tess.post(f"{API}/month-closes/", {"month": "2026-03-31"})
    assert answer.status_code == 201
    assert (answer.json()["month"], answer.json()["statements_count"]) == ("2026-03-01", 2)
    again = tess.post(f"{API}/month-closes/", {"month": "2026-03-01"})
    assert (again.status_code, again.json()["code"]) == (409, "month_closed")
    assert Statement.objects.count() == 2


def test_unfinished_month_is_not_closed(books: Books, tess: APIClient, mara: APIClient) -> None:
    sent = {"month": "2026-04-01"}
    answer = tess.post(f"{API}/month-closes/", sent)
    assert (answer.status_code, answer.json()["code"]) == (409, "month_not_over")
    preview = tess.get(f"{API}/month-closes/preview/?month=2026-04-15").json()
    assert preview["hindrance"]["code"] == "month_not_over"
    assert mara.post(f"{API}/month-closes/", sent).status_code == 403
    assert tess.post(f"{API}/month-closes/", {"month": "April"}).status_code == 400
    assert not MonthClose.objects.exists()


@pytest.mark.parametrize("month", ["9999-12-01", "0001-01-01"])
def test_month_at_the_end_of_the_calendar_is_refused(tess: APIClient, month: str) -> None:
    answers = [
        tess.post(f"{API}/month-closes/", {"month": month}),
        tess.get(f"{API}/month-closes/preview/?month={month}"),
    ]
    assert [answer.status_code for answer in answers] == [400, 400]
    assert answers[0].json()["fields"] == {"month": ["Write a month of the years 1900 to 2099."]}


# --- Journal --------------------------------------------------------------------------------


def test_journal_is_read_by_days_and_reversed(books: Books, tess: APIClient) -> None:
    priced(books)
    tess.post(f"{API}/accounts/101/credits/", {"amount_minor": 79, "reason": "a chip"})
    assert tess.get(f"{API}/journal/").json()["count"] == 2
    (entry,) = tess.get(f"{API}/journal/?first=2026-04-01").json()["results"]
    assert sum(leg["amount_minor"] for leg in entry["postings"]) == 0
    assert tess.get(f"{API}/journal/?first=soon").status_code == 400
    address = f"{API}/journal/{entry['id']}/reverse/"
    answer = tess.post(address, {"reason": "wrong account"})
    assert (answer.status_code, answer.json()["reverses"]) == (201, entry["id"])
    assert tess.post(address, {"reason": "again"}).status_code == 409
    assert JournalEntry.objects.count() == 3


def test_trial_balance_agrees(books: Books, tess: APIClient) -> None:
    priced(books)
    answer = tess.get(f"{API}/trial-balance/").json()
    assert answer["is_balanced"] is True
    assert answer["debit_total_minor"] == answer["credit_total_minor"] == 1158
    early = tess.get(f"{API}/trial-balance/?on=2026-03-01").json()
    assert early["debit_total_minor"] == 0


# --- Questions ------------------------------------------------------------------------------

QUERIES = {
    "balances": 9,
    "statements": 4,
    "shares": 4,
    "payments": 4,
    "firing-costs": 4,
    "journal": 5,
    "tariffs": 4,
    "month-closes": 4,
}


@pytest.mark.parametrize("rows", [1, 3])
@pytest.mark.parametrize("name", QUERIES)
def test_lists_ask_the_same_number_of_questions(
    books: Books, tess: APIClient, name: str, rows: int, django_assert_num_queries: Any
) -> None:
    for number in range(rows):
        books.ada.account = make_account(500 + number, f"Class {number}")
        books.ada.save()
        priced(books)
        tess.post(f"{API}/payments/", payment(account=500 + number))
    closed_march(books)
    with django_assert_num_queries(QUERIES[name]):
        assert tess.get(f"{API}/{name}/").json()["results"]
