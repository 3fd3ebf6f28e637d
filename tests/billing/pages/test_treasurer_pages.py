"""The treasurer's pages: payments, credits, costs, months and the journal."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import transaction
from django.test import Client

from billing.actions.balances import balance_minor_of
from billing.actions.payments import record_payment
from billing.actions.price_firing import post_firing_cost
from billing.models import FiringCost, JournalEntry, MonthClose, Payment, Statement
from firings.models import FiringState
from tests.billing.conftest import Books
from tests.billing.faces_scene import closed_march, priced, signed_in, statement_of, text_of
from tests.billing.scene import AFTER_MARCH, NOON, make_account, make_firing, make_person

TODAY = AFTER_MARCH.date()
FOR_TREASURER = (
    "/books/",
    "/books/payments/",
    "/books/payments/record/",
    "/books/months/",
    "/books/months/2026-03/close/",
    "/books/journal/",
    "/books/trial-balance/",
)
FOR_MANAGER_TOO = (
    "/books/accounts/",
    "/books/accounts/101/",
    "/books/accounts/101/credit/",
    "/books/costs/",
    "/books/tariffs/",
    "/books/tariffs/add-flat/",
    "/books/tariffs/add-by-hours/",
    "/books/policy/",
)


def payment_form(books: Books, **changes: object) -> dict[str, object]:
    return {
        "account": books.ada_account.pk,
        "way": "in",
        "amount_minor": "5.00",
        "received_on": "2026-04-01",
        "method": "bank",
        "reference": "4711",
        **changes,
    }


def paid(books: Books, amount_minor: int = 500) -> Payment:
    return record_payment(
        by=books.treasurer,
        at=AFTER_MARCH,
        account=books.ada_account,
        received_on=TODAY,
        amount_minor=amount_minor,
        method="cash",
    )


# --- Who may open what ----------------------------------------------------------------------


@pytest.mark.parametrize("address", FOR_TREASURER + FOR_MANAGER_TOO)
def test_page_opens_for_the_treasurer_and_not_for_members(
    books: Books, tess: Client, ada: Client, address: str
) -> None:
    assert tess.get(address).status_code == 200
    assert ada.get(address).status_code == 403


@pytest.mark.parametrize("address", FOR_MANAGER_TOO)
def test_page_opens_for_the_manager_too(books: Books, mara: Client, address: str) -> None:
    assert mara.get(address).status_code == 200


@pytest.mark.parametrize("address", FOR_TREASURER)
def test_page_is_the_treasurers_alone(books: Books, mara: Client, address: str) -> None:
    assert mara.get(address).status_code == 403


# --- At a glance ----------------------------------------------------------------------------


def test_month_at_a_glance_names_what_is_missing(books: Books, tess: Client) -> None:
    priced(books)
    unpriced = make_firing(books.kiln)
    unknown = make_firing(books.kiln, energy_wh=None)
    hot = make_firing(books.kiln, state=FiringState.COOLING)
    make_person("Nan Noone", "member")
    page = text_of(tess.get("/books/"))
    for words in (str(unpriced), str(unknown), str(hot), "Nan Noone", "March 2026", "€11.58"):
        assert words in page
    assert f'action="/books/costs/price/{unpriced.pk}/"' in page


def test_home_tells_the_treasurer_which_month_waits(books: Books, tess: Client) -> None:
    priced(books)
    assert "March 2026 is over and can be closed" in text_of(tess.get("/"))


# --- Payments -------------------------------------------------------------------------------


def test_payment_is_recorded(books: Books, tess: Client) -> None:
    answer = tess.post("/books/payments/record/", payment_form(books))
    assert (answer.status_code, answer.url) == (303, "/books/accounts/101/")
    payment = Payment.objects.get()
    assert (payment.amount_minor, payment.received_on) == (500, date(2026, 4, 1))
    assert balance_minor_of(books.ada_account, TODAY) == -500
    page = text_of(tess.get("/books/accounts/101/"))
    assert "Payment, bank transfer, 4711" in page
    assert "in credit" in page


def test_money_paid_back_is_negative(books: Books, tess: Client) -> None:
    tess.post("/books/payments/record/", payment_form(books, way="out"))
    assert Payment.objects.get().amount_minor == -500


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"amount_minor": "0"}, "This must be at least 0.01"),
        ({"amount_minor": "-5"}, "This cannot be less than zero."),
        ({"amount_minor": "5.005"}, "EUR has 2 decimals"),
        ({"amount_minor": "5 euros"}, "Write a plain number here"),
        ({"amount_minor": ""}, "This field is required."),
        ({"received_on": "2026-04-03"}, "3 April 2026 is still to come."),
        ({"received_on": "2022-04-03"}, "more than two years ago"),
        ({"method": "shells"}, "Select a valid choice."),
        ({"account": "77"}, "Select a valid choice."),
        ({"way": "sideways"}, "Select a valid choice."),
        ({"reference": "x" * 81}, "at most 80 characters"),
    ],
)
def test_bad_payment_is_refused_and_nothing_written(
    books: Books, tess: Client, changes: dict[str, str], says: str
) -> None:
    answer = tess.post("/books/payments/record/", payment_form(books, **changes))
    assert answer.status_code == 422
    assert says in text_of(answer)
    assert not Payment.objects.exists()


def test_same_payment_needs_a_tick_the_second_time(books: Books, tess: Client) -> None:
    tess.post("/books/payments/record/", payment_form(books))
    assert "confirm_duplicate" not in text_of(tess.get("/books/payments/record/"))
    again = tess.post("/books/payments/record/", payment_form(books))
    assert again.status_code == 409
    assert 'name="confirm_duplicate"' in text_of(again)
    sure = payment_form(books, confirm_duplicate="on")
    assert tess.post("/books/payments/record/", sure).status_code == 303
    assert Payment.objects.count() == 2


def test_form_proposes_what_the_account_owes(books: Books, tess: Client) -> None:
    priced(books)
    page = text_of(tess.get("/books/payments/record/?account=101"))
    assert 'value="5.79"' in page


def test_payment_is_taken_back_once_and_with_a_reason(books: Books, tess: Client) -> None:
    payment = paid(books)
    address = f"/books/payments/{payment.pk}/reverse/"
    assert tess.post(address, {"reason": " "}).status_code == 422
    assert tess.post(address, {"reason": "the bank returned it"}).status_code == 303
    assert balance_minor_of(books.ada_account, TODAY) == 0
    assert "Reversed" in text_of(tess.get("/books/payments/"))
    again = tess.post(address, {"reason": "once more"})
    assert again.status_code == 409
    assert "is reversed already" in text_of(again)


# --- Credits --------------------------------------------------------------------------------


def test_credit_lowers_what_they_owe(books: Books, mara: Client) -> None:
    priced(books)
    sent = {"amount_minor": "0.79", "reason": "a chip"}
    assert mara.post("/books/accounts/101/credit/", sent).status_code == 303
    assert balance_minor_of(books.ada_account, TODAY) == 500


@pytest.mark.parametrize(
    "sent",
    [
        {"amount_minor": "0", "reason": "a chip"},
        {"amount_minor": "-1", "reason": "a chip"},
        {"amount_minor": "1", "reason": ""},
        {"amount_minor": "99999999", "reason": "a chip"},
    ],
)
def test_bad_credit_is_refused(books: Books, tess: Client, sent: dict[str, str]) -> None:
    assert tess.post("/books/accounts/101/credit/", sent).status_code == 422
    assert not JournalEntry.objects.exists()


# --- Accounts -------------------------------------------------------------------------------


def test_balances_show_their_age(books: Books, tess: Client) -> None:
    priced(books)
    closed_march(books)
    page = text_of(tess.get("/books/accounts/"))
    assert "101 Ada Rowan" in page
    assert "€11.58" in page
    assert "103" not in page


def test_balances_are_found_by_name(books: Books, tess: Client) -> None:
    page = text_of(tess.get("/books/accounts/?q=sallow"))
    assert "102 Ben Sallow" in page
    assert "101 Ada Rowan" not in page


def test_balance_after_each_line_runs_on_over_pages(
    books: Books, tess: Client, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("billing.pages.balance_pages.ROWS", 2)
    for amount_minor in (100, 200, 300):
        paid(books, amount_minor)
    newest, oldest = (text_of(tess.get(f"/books/accounts/101/?page={n}")) for n in (1, 2))
    assert "-€6.00" in newest
    assert "-€3.00" in newest
    assert oldest.count("-€1.00") == 2


# --- Costs of firings -----------------------------------------------------------------------


def test_cost_shows_lines_and_shares(books: Books, tess: Client) -> None:
    cost = priced(books)
    page = text_of(tess.get(f"/books/costs/{cost.pk}/"))
    for words in ("€11.58", "Relays", "€3.47", "€2.32", "Town works", "Take it back"):
        assert words in page


def test_manager_reads_costs_and_cannot_take_them_back(books: Books, mara: Client) -> None:
    cost = priced(books)
    assert "Take it back" not in text_of(mara.get(f"/books/costs/{cost.pk}/"))
    assert mara.get(f"/books/costs/{cost.pk}/reverse/").status_code == 403
    assert mara.post(f"/books/costs/price/{cost.firing_id}/").status_code == 403


def test_cost_is_taken_back_and_priced_again(books: Books, tess: Client) -> None:
    cost = priced(books)
    address = f"/books/costs/{cost.pk}/reverse/"
    assert tess.post(address, {"reason": ""}).status_code == 422
    assert tess.post(address, {"reason": "wrong register"}).status_code == 303
    assert balance_minor_of(books.ada_account, TODAY) == 0
    assert "Price it again" in text_of(tess.get(f"/books/costs/{cost.pk}/"))
    assert tess.post(address, {"reason": "again"}).status_code == 409
    answer = tess.post(f"/books/costs/price/{cost.firing_id}/")
    standing = FiringCost.objects.get(reversed_at=None)
    assert (answer.status_code, answer.url) == (303, f"/books/costs/{standing.pk}/")
    assert balance_minor_of(books.ada_account, TODAY) == 579


def test_firing_is_not_priced_twice(books: Books, tess: Client) -> None:
    cost = priced(books)
    tess.get("/books/costs/")
    answer = tess.post(
        f"/books/costs/price/{cost.firing_id}/",
        headers={"referer": "http://testserver/books/costs/"},
        follow=True,
    )
    assert "is posted already" in text_of(answer)
    assert FiringCost.objects.count() == 1


# --- Months ---------------------------------------------------------------------------------


def test_month_is_looked_at_and_then_closed(books: Books, tess: Client) -> None:
    priced(books)
    preview = text_of(tess.get("/books/months/2026-03/close/"))
    assert "€11.58" in preview
    assert not MonthClose.objects.exists()
    answer = tess.post("/books/months/2026-03/close/")
    assert (answer.status_code, answer.url) == (303, "/books/months/2026-03/")
    page = text_of(tess.get("/books/months/2026-03/"))
    for statement in Statement.objects.all():
        assert f'href="{statement.get_absolute_url()}"' in page
    assert "March 2026" in text_of(tess.get("/books/months/"))


@pytest.mark.parametrize(
    ("month", "says"),
    [("2026-04", "April 2026 is not over yet."), ("2026-02", "")],
)
def test_unfinished_month_is_not_closed(books: Books, tess: Client, month: str, says: str) -> None:
    priced(books)
    if not says:
        closed_march(books)
        says = "lies before all that is open in the books"
    before = MonthClose.objects.count()
    answer = tess.post(f"/books/months/{month}/close/")
    assert answer.status_code == 409
    assert says in text_of(answer)
    assert MonthClose.objects.count() == before


def test_month_is_not_closed_twice(books: Books, tess: Client) -> None:
    priced(books)
    closed_march(books)
    numbers = list(Statement.objects.values_list("number", flat=True))
    answer = tess.post("/books/months/2026-03/close/")
    assert answer.status_code == 409
    assert "is closed already" in text_of(answer)
    assert list(Statement.objects.values_list("number", flat=True)) == numbers


def test_open_month_leads_to_its_preview(books: Books, tess: Client) -> None:
    assert tess.get("/books/months/2026-03/").url == "/books/months/2026-03/close/"
    assert tess.get("/books/months/2026-13/").status_code == 404


# --- Journal --------------------------------------------------------------------------------


def test_journal_shows_the_days_asked_for(books: Books, tess: Client) -> None:
    priced(books)
    assert "No entries in these days" in text_of(tess.get("/books/journal/"))
    page = text_of(tess.get("/books/journal/?first=2026-03-01&last=2026-03-31"))
    assert "Glaze firing" in page
    assert "4000 Firing electricity recovered" in page


@pytest.mark.parametrize(
    "asked", ["first=soon", "first=2026-03-31&last=2026-03-01", "last=2026-02-30"]
)
def test_journal_refuses_days_that_are_none(books: Books, tess: Client, asked: str) -> None:
    assert tess.get(f"/books/journal/?{asked}").status_code == 422


def test_entry_is_reversed_with_a_reason(books: Books, tess: Client) -> None:
    tess.post("/books/accounts/101/credit/", {"amount_minor": "1", "reason": "a chip"})
    entry = JournalEntry.objects.get()
    assert "Reverse it" in text_of(tess.get(f"/books/journal/{entry.pk}/"))
    address = f"/books/journal/{entry.pk}/reverse/"
    assert tess.post(address, {"reason": ""}).status_code == 422
    answer = tess.post(address, {"reason": "wrong account"})
    reversal = JournalEntry.objects.get(reverses=entry)
    assert (answer.status_code, answer.url) == (303, f"/books/journal/{reversal.pk}/")
    assert balance_minor_of(books.ada_account, TODAY) == 0
    assert tess.post(address, {"reason": "again"}).status_code == 409


def test_cost_of_a_firing_is_not_reversed_in_the_journal(books: Books, tess: Client) -> None:
    entry = priced(books).entry
    page = text_of(tess.get(f"/books/journal/{entry.pk}/"))
    assert "Reverse it" not in page
    assert "Its lines and shares" in page
    answer = tess.post(f"/books/journal/{entry.pk}/reverse/", {"reason": "wrong"})
    assert answer.status_code == 409


def test_trial_balance_agrees(books: Books, tess: Client) -> None:
    priced(books)
    page = text_of(tess.get("/books/trial-balance/"))
    assert page.count("€11.58") == 2
    assert "1200.101 Receivable of Ada Rowan" in page
    assert "Nothing is posted" not in text_of(tess.get("/books/trial-balance/?on=2026-03-01"))
    assert tess.get("/books/trial-balance/?on=never").status_code == 422


# --- Policy ---------------------------------------------------------------------------------


def test_policy_is_edited_and_bad_values_are_refused(books: Books, mara: Client) -> None:
    fields = {
        "split_policy": "capacity",
        "consumables_per_firing_minor": "2.50",
        "handling_per_firing_minor": "0",
        "fixed_kind": "percent",
        "fixed_percent": "30",
        "fixed_estimate_minor": "0",
        "weighs_height": "on",
        "minimum_charge_minor": "2.00",
        "payment_days": "30",
        "how_to_pay": "Cash.",
    }
    assert mara.post("/books/policy/", fields).status_code == 303
    assert 'value="2.50"' in text_of(mara.get("/books/policy/"))
    for wrong in ({"payment_days": "0"}, {"split_policy": "fair"}, {"how_to_pay": "x" * 1001}):
        assert mara.post("/books/policy/", {**fields, **wrong}).status_code == 422


def test_policy_page_says_what_is_wrong_with_bank_details(books: Books, mara: Client) -> None:
    fields = {
        "split_policy": "used",
        "consumables_per_firing_minor": "1.50",
        "handling_per_firing_minor": "1",
        "fixed_kind": "none",
        "fixed_percent": "0",
        "fixed_estimate_minor": "0",
        "minimum_charge_minor": "0",
        "payment_days": "14",
        "how_to_pay": "",
        "payee_name": "Ashbank Studio",
        "iban": "DE89 3704 0044 0532 0130 01",
        "bic": "",
    }
    answer = mara.post("/books/policy/", fields)
    assert answer.status_code == 422
    assert "The check digits of this IBAN do not fit" in text_of(answer)
    assert 'value="DE89 3704 0044 0532 0130 01"' in text_of(answer)
    right = {**fields, "iban": "DE89 3704 0044 0532 0130 00"}
    assert mara.post("/books/policy/", right).status_code == 303
    assert 'value="DE89370400440532013000"' in text_of(mara.get("/books/policy/"))


# --- Questions ------------------------------------------------------------------------------

QUERIES = {
    "/books/accounts/": 10,
    "/books/costs/": 7,
    "/books/payments/": 6,
    "/books/months/2026-03/": 8,
    "/books/accounts/101/": 11,
    "/books/journal/?first=2026-03-01&last=2026-04-30": 7,
}


@pytest.mark.parametrize("rows", [1, 3])
@pytest.mark.parametrize("address", QUERIES)
def test_list_asks_the_same_number_of_questions(
    books: Books, rows: int, address: str, django_assert_num_queries: object
) -> None:
    for number in range(rows):
        account = make_account(500 + number, f"Class {number}")
        books.ada.account = account
        books.ada.save()
        priced(books)
        paid(books, 100 + number)
    closed_march(books)
    tess = signed_in(books.treasurer)
    with django_assert_num_queries(QUERIES[address]):
        assert tess.get(address).status_code == 200


def test_amounts_of_the_scene_are_those_of_the_hand_calculation(books: Books) -> None:
    assert [share.amount_minor for share in priced(books, NOON).shares.all()] == [347, 579, 232]


def test_cost_of_an_empty_firing_names_no_area(books: Books, tess: Client) -> None:
    with transaction.atomic():
        cost = post_firing_cost(make_firing(books.kiln), books.manager, NOON)
    page = text_of(tess.get(f"/books/costs/{cost.pk}/"))
    assert "Area charged" not in page
    assert "Shared out" not in page
    assert f'href="/firings/{cost.firing_id}/"' in page


def test_missing_firings_of_a_month_are_linked(books: Books, tess: Client) -> None:
    firing = books.firing()
    page = text_of(tess.get("/books/months/2026-03/close/"))
    assert f'href="/firings/{firing.pk}/"' in page


def test_what_is_taken_off_stands_with_a_minus(books: Books, tess: Client) -> None:
    priced(books)
    record_payment(
        by=books.treasurer,
        at=AFTER_MARCH,
        account=books.ada_account,
        amount_minor=200,
        received_on=date(2026, 3, 20),
        method="cash",
    )
    assert "-€2.00" in text_of(tess.get("/books/months/2026-03/close/"))
    closed_march(books)
    page = text_of(tess.get(statement_of(books.ada_account).get_absolute_url()))
    assert page.count("-€2.00") == 2


def test_payment_of_a_closed_month_says_when_it_counts(books: Books, tess: Client) -> None:
    priced(books)
    closed_march(books)
    form = payment_form(books, received_on="2026-03-30")
    answer = tess.post("/books/payments/record/", form, follow=True)
    assert "Its month is closed, so the books count it on 1 April 2026." in text_of(answer)
