"""Tariffs on pages: versions, the two forms, and the picture of the week."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from django.test import Client

from billing.calculations.tariff_documents import from_json
from billing.models import TariffVersion
from billing.pages.tariff_initial import initial_of
from billing.pages.tariff_picture import picture_of
from tests.billing.conftest import Books
from tests.billing.faces_scene import priced, text_of
from tests.billing.scene import NOON

FLAT = "/books/tariffs/add-flat/"
BY_HOURS = "/books/tariffs/add-by-hours/"

# Ontario Energy Board RPP prices and hours of 1 November 2022 (hydroottawa.com, opuc.on.ca).
WINTER = [("07:00", "11:00", "on"), ("11:00", "17:00", "mid"), ("17:00", "19:00", "on")]
SUMMER = [("07:00", "11:00", "mid"), ("11:00", "17:00", "on"), ("17:00", "19:00", "mid")]
PERIODS = [("off", "0.074"), ("mid", "0.102"), ("on", "0.151")]


def flat_form(**changes: str) -> dict[str, str]:
    return {"name": "Town works", "valid_from": "2026-05-01", "price_per_kwh": "0.23", **changes}


def hours_form(**changes: str) -> dict[str, str]:
    rows = [
        {"days": "work", "start": start, "end": end, "period": period, "season": season}
        for season, hours in (("winter", WINTER), ("summer", SUMMER))
        for start, end, period in hours
    ]
    sent = {
        "name": "RPP",
        "valid_from": "2026-05-01",
        "time_zone": "America/Toronto",
        "default_period": "off",
        "holiday_period": "off",
        "holidays": "2026-12-25\n2027-01-01",
        "season_1": "winter",
        "first_1": "11-01",
        "last_1": "4-30",
        "season_2": "summer",
        "first_2": "05-01",
        "last_2": "10-31",
        "rows-TOTAL_FORMS": str(len(rows) + 1),
        "rows-INITIAL_FORMS": "0",
        f"rows-{len(rows)}-days": "every",
    }
    for number, (name, price) in enumerate(PERIODS, start=1):
        sent[f"period_{number}"], sent[f"price_{number}"] = name, price
    for position, row in enumerate(rows):
        sent.update({f"rows-{position}-{name}": value for name, value in row.items()})
    return {**sent, **changes}


def versions() -> int:
    return TariffVersion.objects.count()


def test_flat_price_is_added(books: Books, mara: Client) -> None:
    answer = mara.post(FLAT, flat_form())
    added = TariffVersion.objects.get(valid_from=date(2026, 5, 1))
    assert (answer.status_code, answer.url) == (303, f"/books/tariffs/{added.pk}/")
    assert added.rates == {"kind": "flat", "price_per_kwh": "0.23"}
    assert "0.23 EUR at all hours" in text_of(mara.get(answer.url))
    assert "Town works" in text_of(mara.get("/books/tariffs/"))


@pytest.mark.parametrize(
    ("changes", "status", "says"),
    [
        ({"price_per_kwh": "-0.1"}, 422, "greater than or equal to 0"),
        ({"price_per_kwh": "cheap"}, 422, "Enter a number."),
        ({"price_per_kwh": "NaN"}, 422, "Enter a number."),
        ({"name": ""}, 422, "This field is required."),
        ({"valid_from": "May"}, 422, "Enter a valid date."),
        ({"valid_from": "2026-01-01"}, 409, "holds from 1 January 2026 already"),
    ],
)
def test_bad_flat_price_is_refused(
    books: Books, tess: Client, changes: dict[str, str], status: int, says: str
) -> None:
    answer = tess.post(FLAT, flat_form(**changes))
    assert answer.status_code == status
    assert says in text_of(answer)
    assert versions() == 1


def test_day_of_priced_firings_is_refused(books: Books, tess: Client) -> None:
    priced(books)
    answer = tess.post(FLAT, flat_form(valid_from="2026-03-01"))
    assert answer.status_code == 409
    assert "was priced with Town works" in text_of(answer)


def test_high_price_needs_a_tick(books: Books, tess: Client) -> None:
    assert 'name="confirm"' not in text_of(tess.get(FLAT))
    answer = tess.post(FLAT, flat_form(price_per_kwh="21"))
    assert answer.status_code == 409
    assert "above €5.00" in text_of(answer)
    assert 'name="confirm"' in text_of(answer)
    assert tess.post(FLAT, flat_form(price_per_kwh="21", confirm="on")).status_code == 303


def test_prices_by_hours_are_added(books: Books, tess: Client) -> None:
    assert tess.post(BY_HOURS, hours_form()).status_code == 303
    rates = TariffVersion.objects.get(name="RPP").rates
    weekdays = ["mon", "tue", "wed", "thu", "fri"]
    assert rates["seasons"][1] == {
        "name": "summer",
        "first_day": "05-01",
        "last_day": "10-31",
        "rules": [
            {"weekdays": weekdays, "from": start, "to": end, "period": period}
            for start, end, period in SUMMER
        ],
    }
    assert rates["seasons"][0]["last_day"] == "04-30"
    assert rates["holidays"] == ["2026-12-25", "2027-01-01"]
    assert rates["periods"][2] == {"name": "on", "price_per_kwh": "0.151"}


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"default_period": ""}, "00:00 to 07:00 has no period"),
        ({"rows-0-end": "12:00"}, "11:00 to 12:00 has two periods"),
        ({"rows-0-start": "dawn"}, "is not a time of day such as 07:00"),
        ({"rows-0-end": "05:00"}, "do not go forward"),
        ({"rows-0-period": "peak"}, "is not one of the periods"),
        ({"rows-0-season": "monsoon"}, "No season above is called"),
        ({"last_2": "09-30"}, "No season holds on 10-01"),
        ({"last_2": "02-30"}, "Write month and day"),
        ({"first_2": ""}, "Fill this in too"),
        ({"price_3": ""}, "Fill this in too"),
        ({"time_zone": "Atlantis/Harbour"}, "is not known"),
        ({"holidays": "Christmas"}, "is not a date such as"),
        ({"holiday_period": ""}, "not which period they have"),
    ],
)
def test_tariff_that_does_not_fit_together_is_refused_and_kept_in_the_form(
    books: Books, tess: Client, changes: dict[str, str], says: str
) -> None:
    answer = tess.post(BY_HOURS, hours_form(**changes))
    assert answer.status_code == 422
    page = text_of(answer)
    assert says in page
    assert 'value="America/Toronto"' in page or "Atlantis" in page
    assert versions() == 1


def test_without_seasons_the_hours_hold_all_year(books: Books, tess: Client) -> None:
    none = {name: "" for n in (1, 2) for name in (f"season_{n}", f"first_{n}", f"last_{n}")}
    rows = {
        f"rows-{n}-{name}": "" for n in range(6) for name in ("start", "end", "period", "season")
    }
    sent = hours_form(**none, **rows)
    sent |= {"rows-0-start": "22:00", "rows-0-end": "24:00", "rows-0-period": "on"}
    assert tess.post(BY_HOURS, sent).status_code == 303
    (season,) = TariffVersion.objects.get(name="RPP").rates["seasons"]
    assert (season["name"], season["first_day"], season["last_day"]) == (
        "all year",
        "01-01",
        "12-31",
    )
    assert [rule["to"] for rule in season["rules"]] == ["24:00"]


def typed(page: str) -> dict[str, str]:
    """The text fields of a form as a browser would send them back."""
    found = re.findall(
        r'<input type="(?:text|number|hidden|date)" name="([^"]+)" value="([^"]*)"', page
    )
    return {name: value for name, value in found if "__prefix__" not in name}


def test_new_version_begins_with_the_newest_one(books: Books, tess: Client) -> None:
    """Only the price and the day are changed; every untouched row is kept."""
    tess.post(BY_HOURS, hours_form())
    sent: dict[str, Any] = typed(text_of(tess.get(BY_HOURS)))
    days = {f"rows-{n}-days": "work" for n in range(6)}
    answer = tess.post(BY_HOURS, {**sent, **days, "valid_from": "2026-11-01", "price_1": "0.08"})
    assert answer.status_code == 303
    old, new = (
        version.rates for version in TariffVersion.objects.filter(name="RPP").order_by("pk")
    )
    assert new["periods"][0]["price_per_kwh"] == "0.08"
    assert new["seasons"] == old["seasons"]


def test_initial_of_splits_odd_days_into_rows(books: Books) -> None:
    rule = {"weekdays": ["mon", "wed"], "from": "07:00", "to": "09:00", "period": "on"}
    season = {"name": "all", "first_day": "01-01", "last_day": "12-31", "rules": [rule]}
    periods = [{"name": "on", "price_per_kwh": "0.3"}]
    initial = initial_of({"periods": periods, "seasons": [season], "time_zone": "UTC"})
    assert [row["days"] for row in initial["rows"]] == ["mon", "wed"]


# --- The picture ----------------------------------------------------------------------------


def rpp(books: Books, tess: Client) -> TariffVersion:
    tess.post(BY_HOURS, hours_form())
    return TariffVersion.objects.get(name="RPP")


def test_picture_has_each_hour_of_the_week(books: Books, tess: Client) -> None:
    """OEB hours: winter weekdays 7-11 and 17-19 on peak, 11-17 mid peak, all else off peak."""
    picture = picture_of(from_json(rpp(books, tess).rates).energy)
    winter = picture.seasons[0]
    columns = ["".join(cells[day].letters for _, cells in winter.hours) for day in range(7)]
    assert columns[0] == "A" * 7 + "C" * 4 + "B" * 6 + "C" * 2 + "A" * 5
    assert columns[1:5] == [columns[0]] * 4
    assert columns[5:] == ["A" * 24] * 2
    assert (winter.first_day, winter.last_day) == ("1 November", "30 April")


def test_picture_names_both_periods_of_a_divided_hour(books: Books, tess: Client) -> None:
    tess.post(BY_HOURS, hours_form(**{"rows-0-start": "07:30"}))
    picture = picture_of(from_json(TariffVersion.objects.get(name="RPP").rates).energy)
    monday_7 = picture.seasons[0].hours[7][1][0]
    assert (monday_7.letters, monday_7.names) == ("A/C", "off, then on")


def test_page_shows_the_picture_and_the_holidays(books: Books, tess: Client) -> None:
    page = text_of(tess.get(f"/books/tariffs/{rpp(books, tess).pk}/"))
    assert page.count('<table class="hours">') == 2
    assert page.count('<td class="hour-2">') == 5 * 6 * 2
    assert "Fri 25 Dec 2026" in page


# --- Taking back ----------------------------------------------------------------------------


def test_mistyped_version_is_taken_back(books: Books, tess: Client) -> None:
    version = rpp(books, tess)
    assert tess.post(f"/books/tariffs/{version.pk}/withdraw/").status_code == 303
    assert versions() == 1


def test_used_version_stays(books: Books, tess: Client) -> None:
    priced(books)
    assert "Take it back" not in text_of(tess.get(f"/books/tariffs/{books.tariff.pk}/"))
    answer = tess.post(f"/books/tariffs/{books.tariff.pk}/withdraw/")
    assert answer.status_code == 409
    assert versions() == 1


def test_newest_version_stands_first(books: Books, tess: Client) -> None:
    rpp(books, tess)
    page = text_of(tess.get("/books/tariffs/"))
    assert page.index("RPP") < page.index("Town works</a> (holds today)")


@pytest.mark.parametrize("rows", [1, 3])
def test_versions_ask_the_same_number_of_questions(
    books: Books, tess: Client, rows: int, django_assert_num_queries: Any
) -> None:
    for year in range(2027, 2027 + rows):
        TariffVersion.objects.create(
            name="Next", valid_from=date(year, 1, 1), rates=books.tariff.rates, made_at=NOON
        )
    with django_assert_num_queries(6):
        tess.get("/books/tariffs/")
