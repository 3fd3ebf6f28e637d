"""Bills, shared charges, the test bench and every kind of tariff on the treasurer's pages."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import time_machine
from django.test import Client

from billing.actions.close_month import close_month
from billing.actions.share_month_charges import share_month_charges
from billing.models import MonthCharges, MonthChargeShare, Statement, TariffVersion, UtilityBill
from billing.statement_pdf import render_statement_pdf
from tests.billing.conftest import Books
from tests.billing.electricity_scene import CHARGED, april
from tests.billing.faces_scene import text_of
from tests.billing.scene import AFTER_APRIL, APRIL
from tests.billing.test_utility_bills import bill

SHARE = "/books/months/2026-04/charges/"
ENTER = "/books/electricity/enter/"


@pytest.fixture(autouse=True)
def on_2_may() -> Iterator[None]:
    with time_machine.travel(AFTER_APRIL, tick=False):
        yield


def bill_form(**changes: str) -> dict[str, str]:
    return {
        "first_day": "2026-04-01",
        "last_day": "2026-04-30",
        "billed_on": "2026-05-01",
        "energy_wh": "300",
        "amount_minor": "210.00",
        "tax_minor": "19.09",
        "reference": "2026-0417",
        "settlement": "later",
        **changes,
    }


def shared(books: Books) -> MonthCharges:
    april(books)
    return share_month_charges(by=books.treasurer, at=AFTER_APRIL, month=APRIL)


# --- Who may open what ----------------------------------------------------------------------


@pytest.mark.parametrize("address", ["/books/electricity/", "/books/tariffs/bench/"])
def test_page_is_for_treasurer_and_manager(
    books: Books, tess: Client, mara: Client, ada: Client, address: str
) -> None:
    assert tess.get(address).status_code == mara.get(address).status_code == 200
    assert ada.get(address).status_code == 403


@pytest.mark.parametrize("address", [ENTER, SHARE])
def test_page_is_the_treasurers_alone(
    books: Books, tess: Client, mara: Client, address: str
) -> None:
    assert tess.get(address).status_code == 200
    assert mara.get(address).status_code == 403


# --- Bills ----------------------------------------------------------------------------------


def test_bill_is_entered_and_compared(books: Books, tess: Client) -> None:
    april(books)
    answer = tess.post(ENTER, bill_form())
    entered = UtilityBill.objects.get()
    assert (answer.status_code, answer.url) == (303, f"/books/electricity/{entered.pk}/")
    assert (entered.energy_wh, entered.amount_minor) == (300_000, 21_000)
    page = text_of(tess.get("/books/electricity/"))
    for words in ("289.5", "€207.69", "<svg", "€2.31"):
        assert words in page
    assert "2 firings, recovered from members" in text_of(tess.get(answer.url))


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"last_day": "2026-03-01"}, "lies before the first"),
        ({"amount_minor": "0"}, "at least"),
        ({"tax_minor": "300.00"}, "part of the amount"),
    ],
)
def test_impossible_bill_is_refused(
    books: Books, tess: Client, changes: dict[str, str], says: str
) -> None:
    answer = tess.post(ENTER, bill_form(**changes))
    assert answer.status_code == 422
    assert says in text_of(answer)
    assert not UtilityBill.objects.exists()


def test_bill_of_the_same_days_is_refused(books: Books, tess: Client) -> None:
    bill(books)
    answer = tess.post(ENTER, bill_form())
    assert answer.status_code == 409
    assert "covers some of these days already" in text_of(answer)


def test_bill_is_paid_and_taken_back(books: Books, tess: Client) -> None:
    entered = bill(books, settlement="later")
    address = f"/books/electricity/{entered.pk}"
    assert "It is paid" in text_of(tess.get(f"{address}/"))
    assert tess.post(f"{address}/pay/", {"paid_on": "2026-05-02"}).status_code == 303
    assert "It is paid" not in text_of(tess.get(f"{address}/"))
    assert tess.post(f"{address}/reverse/", {"reason": "Not ours."}).status_code == 303
    assert "Taken back" in text_of(tess.get(f"{address}/"))
    assert "Taken back" in text_of(tess.get("/books/electricity/"))


def test_entry_of_a_bill_points_to_it(books: Books, tess: Client) -> None:
    entered = bill(books)
    page = text_of(tess.get(f"/books/journal/{entered.entry_id}/"))
    assert f'href="/books/electricity/{entered.pk}/"' in page
    assert "Reverse it" not in page


@pytest.mark.parametrize("bills", [1, 3])
def test_recovery_asks_the_same_number_of_questions(
    books: Books, tess: Client, bills: int, django_assert_num_queries: Any
) -> None:
    april(books)
    for number in range(bills):
        day = f"2026-04-{10 + number:02d}"
        tess.post(ENTER, bill_form(first_day=day, last_day=day))
    with django_assert_num_queries(9):
        tess.get("/books/electricity/")


# --- Shared charges -------------------------------------------------------------------------


def test_charges_are_shown_then_shared(books: Books, tess: Client) -> None:
    april(books)
    close = text_of(tess.get("/books/months/2026-04/close/"))
    assert "fixed charges are not shared yet" in close
    assert f'href="{SHARE}"' in close
    preview = text_of(tess.get(SHARE))
    for words in ("€148.50", "€74.25", "12\u00a0kW", "Share the charges"):
        assert words in preview
    answer = tess.post(SHARE)
    charges = MonthCharges.objects.get()
    assert (answer.status_code, answer.url) == (303, f"/books/charges/{charges.pk}/")
    assert "€148.50" in text_of(tess.get(answer.url))
    assert "not shared yet" not in text_of(tess.get("/books/months/2026-04/close/"))
    assert tess.post(SHARE).status_code == 409


def test_charges_are_taken_back(books: Books, tess: Client) -> None:
    charges = shared(books)
    answer = tess.post(f"/books/charges/{charges.pk}/reverse/", {"reason": "A firing was missing."})
    assert answer.status_code == 303
    assert "Share the month again" in text_of(tess.get(answer.url))


def test_member_reads_every_step_of_the_own_part(books: Books, ada: Client, ben: Client) -> None:
    charges = shared(books)
    own = MonthChargeShare.objects.get(charges=charges, account=books.ada_account)
    account = text_of(ada.get("/account/"))
    assert f'href="/charges/{own.pk}/"' in account
    page = text_of(ada.get(f"/charges/{own.pk}/"))
    assert "all kilns used 6000" in page
    assert "€74.25" in page
    assert ben.get(f"/charges/{own.pk}/").status_code == 404


def test_statement_has_the_working_on_page_and_paper(books: Books, ada: Client) -> None:
    shared(books)
    close_month(by=books.treasurer, at=AFTER_APRIL, month=APRIL)
    statement = Statement.objects.get(account=books.ada_account)
    page = text_of(ada.get(f"/statements/{statement.number}/"))
    assert "The working of Electricity charges of April 2026" in page
    assert "highest mean power of 30 minutes" in page
    assert render_statement_pdf(statement).startswith(b"%PDF")


def test_working_of_a_share_shows_the_tax_on_energy(books: Books, ben: Client) -> None:
    """The second firing: 2.5 kWh at 0.20 = 0.5, and 10 % of it: 0.05."""
    _, second = april(books)
    share = second.costs.get().shares.get()
    page = text_of(ben.get(f"/shares/{share.pk}/"))
    for words in ("VAT: 0.5 × 10 % = 0.05", "together 0.55", "Town works with demand"):
        assert words in page


# --- Tariffs --------------------------------------------------------------------------------

BLOCKS = {
    "name": "Town works, blocks",
    "valid_from": "2026-06-01",
    "time_zone": "Europe/Berlin",
    "up_to_1": "250",
    "price_1": "0.064",
    "price_2": "0.049",
    "per_month": "7.50",
    "tax_1": "city sales tax",
    "percent_1": "1",
    "tax_2": "power cost",
    "per_kwh_2": "0.085",
}


def test_tariff_by_blocks_is_added(books: Books, tess: Client) -> None:
    # Prices of the City of Seymour (cityofseymour.org), its first two blocks.
    answer = tess.post("/books/tariffs/add-tiered/", BLOCKS)
    assert answer.status_code == 303
    rates = TariffVersion.objects.get(name="Town works, blocks").rates
    assert rates["tiers"] == [
        {"up_to_kwh": "250", "price_per_kwh": "0.064"},
        {"up_to_kwh": None, "price_per_kwh": "0.049"},
    ]
    assert rates["taxes"][1] == {"name": "power cost", "per_kwh": "0.085"}
    page = text_of(tess.get(answer.url))
    for words in ("first 250 kWh", "above 250 kWh", "7.50 EUR", "city sales tax"):
        assert words in page


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"price_2": ""}, "energy above 250 kWh has no price"),
        ({"price_1": ""}, "This field is required."),
        ({"up_to_1": "0"}, "must end at a number of kWh above 0"),
        ({"per_kwh_1": "0.01"}, "either a percentage or an amount"),
        ({"percent_1": "119"}, "less than or equal to 100"),
        ({"demand_1": "demand"}, "Fill this in too"),
        ({"time_zone": "Atlantis/Harbour"}, "is not known"),
    ],
)
@pytest.mark.parametrize("button", [{}, {"look": "1"}])
def test_blocks_that_do_not_fit_are_refused(
    books: Books, tess: Client, changes: dict[str, str], says: str, button: dict[str, str]
) -> None:
    answer = tess.post("/books/tariffs/add-tiered/", {**BLOCKS, **changes, **button})
    assert answer.status_code == 422
    assert says.lower() in text_of(answer).lower()
    assert TariffVersion.objects.count() == 1


HAYWOOD_FORM = {
    # Haywood EMC time-of-day: hours change on 16 April and 16 October, prices on 1 June and
    # 1 November; the winter's off-peak price was not on the page, so one stands for both.
    "name": "Time of day",
    "valid_from": "2026-06-01",
    "time_zone": "America/New_York",
    "period_1": "on",
    "price_1": "0.0714",
    "period_2": "off",
    "price_2": "0.0700",
    "default_period": "off",
    "in_period_1": "on",
    "in_first_1": "06-01",
    "in_last_1": "10-31",
    "in_price_1": "0.0840",
    "season_1": "mornings",
    "first_1": "10-16",
    "last_1": "04-15",
    "season_2": "afternoons",
    "first_2": "04-16",
    "last_2": "10-15",
    "rows-TOTAL_FORMS": "2",
    "rows-INITIAL_FORMS": "0",
    "rows-0-days": "work",
    "rows-0-start": "06:00",
    "rows-0-end": "09:00",
    "rows-0-period": "on",
    "rows-0-season": "mornings",
    "rows-1-days": "work",
    "rows-1-start": "15:00",
    "rows-1-end": "18:00",
    "rows-1-period": "on",
    "rows-1-season": "afternoons",
    "holiday_period": "off",
    "holidays": "2026-07-04 Independence Day\n2026-09-07 Labor Day",
    "per_month": "32.50",
    "demand_1": "on-peak demand",
    "per_kw_1": "15.50",
    "minutes_1": "30",
    "hours_1": "on",
    "demand_first_1": "06-01",
    "demand_last_1": "10-31",
    "demand_2": "on-peak demand",
    "per_kw_2": "13.20",
    "minutes_2": "30",
    "hours_2": "on",
    "demand_first_2": "11-01",
    "demand_last_2": "05-31",
    "demand_3": "monthly demand",
    "per_kw_3": "2.75",
    "minutes_3": "30",
}


def test_price_seasons_and_several_demand_charges_fit_the_form(books: Books, tess: Client) -> None:
    assert tess.post("/books/tariffs/add-by-hours/", HAYWOOD_FORM).status_code == 303
    rates = TariffVersion.objects.get(name="Time of day").rates
    assert rates["periods"][0]["season_prices"] == {"06-01 to 10-31": "0.0840"}
    assert [len(charge["prices"]) for charge in rates["demand"]] == [2, 1]
    assert rates["holidays"] == ["2026-07-04", "2026-09-07"]
    # The next version begins with all of it.
    page = text_of(tess.get("/books/tariffs/add-by-hours/"))
    for words in ('value="15.50"', 'value="monthly demand"', 'value="0.0840"', 'value="32.50"'):
        assert words in page


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"hours_1": "peak"}, "is not one of the periods"),
        ({"demand_last_2": "04-30"}, "no season holds on 05-01"),
        ({"in_period_1": "peak"}, "No period above is called"),
        ({"in_price_1": ""}, "Fill this in too"),
    ],
)
def test_charges_that_do_not_fit_are_refused(
    books: Books, tess: Client, changes: dict[str, str], says: str
) -> None:
    answer = tess.post("/books/tariffs/add-by-hours/", {**HAYWOOD_FORM, **changes})
    assert answer.status_code == 422
    assert says in text_of(answer)


def test_look_shows_picture_and_past_month_and_adds_nothing(books: Books, tess: Client) -> None:
    april(books)
    before = TariffVersion.objects.count()
    answer = tess.post("/books/tariffs/add-by-hours/", {**HAYWOOD_FORM, "look": "1"})
    page = text_of(answer)
    assert answer.status_code == 200
    assert page.count('<table class="hours">') == 2
    assert "All firings of April 2026 by it" in page
    assert 'value="0.0840"' in page
    assert TariffVersion.objects.count() == before


def test_public_holidays_are_written_in(books: Books, tess: Client) -> None:
    # Ontario 2017 (bluewaterpower.com): 2 January in lieu of Sunday the 1st, 26 December.
    asked = "?country=ca&region=on&first_year=2017&last_year=2017"
    page = text_of(tess.get(f"/books/tariffs/add-by-hours/{asked}"))
    assert "2017-01-02" in page
    assert "2017-12-26" in page


@pytest.mark.parametrize(
    ("asked", "says"),
    [
        ("country=zz&first_year=2026&last_year=2026", "No public holidays are known"),
        ("country=ca&first_year=2026&last_year=2025", "From the first year on"),
        ("country=ca&first_year=2026&last_year=2050", "10 years at most"),
    ],
)
def test_unknown_holidays_are_told(books: Books, tess: Client, asked: str, says: str) -> None:
    assert says in text_of(tess.get(f"/books/tariffs/add-by-hours/?{asked}"))


def test_bench_shows_versions_side_by_side(books: Books, tess: Client) -> None:
    first, _ = april(books)
    both = "&".join(f"tariffs={version.pk}" for version in TariffVersion.objects.all())
    page = text_of(tess.get(f"/books/tariffs/bench/?what=2026-04&{both}"))
    # 10.5 kWh at 0.21 = 2.205; with charges and tax 150.81.
    assert "€2.21" in page
    assert "€150.81" in page
    page = text_of(tess.get(f"/books/tariffs/bench/?what={first.pk}&{both}"))
    # 8 kWh at 0.20 and 8 kW at 10.00, with 10 % tax: 89.76.
    assert "€89.76" in page
    assert "Fixed charges do not depend on a firing" in page


@pytest.mark.parametrize("asked", ["what=2026-04", "what=nothing&tariffs=1"])
def test_bench_says_what_is_missing(books: Books, tess: Client, asked: str) -> None:
    april(books)
    assert tess.get(f"/books/tariffs/bench/?{asked}").status_code == 422


def test_flat_price_with_charges(books: Books, tess: Client) -> None:
    sent = {
        "name": "Flat",
        "valid_from": "2026-06-01",
        "price_per_kwh": "0.20",
        "time_zone": "Europe/Berlin",
        "per_month": "15.00",
        "demand_1": "Demand",
        "per_kw_1": "10",
        "minutes_1": "30",
        "tax_1": "VAT",
        "percent_1": "10",
    }
    assert tess.post("/books/tariffs/add-flat/", sent).status_code == 303
    assert TariffVersion.objects.get(name="Flat").rates == CHARGED
