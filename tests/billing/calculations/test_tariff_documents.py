"""Aim: a tariff is read whole or refused with sentences a person can act on; holidays are those
of a public calendar. Method: one good document, broken in one place at a time."""

from copy import deepcopy
from datetime import date
from decimal import Decimal

import pytest

from billing.calculations.holidays_of import holiday_dates
from billing.calculations.prices import TariffError
from billing.calculations.tariff_documents import from_json, to_json
from billing.calculations.tariffs import FlatTariff, Tariff

DAILY = ["mon", "tue", "wed", "thu", "fri", "sat", "sun"]
DAY = {"weekdays": DAILY, "from": "07:00", "to": "19:30", "period": "on"}
NIGHT = {"weekdays": DAILY, "from": "19:30", "to": "24:00", "period": "off"}
MORNING = {"weekdays": DAILY, "from": "00:00", "to": "07:00", "period": "off"}
GOOD = {
    "kind": "time_of_use",
    "time_zone": "America/Toronto",
    "periods": [
        {"name": "off", "price_per_kwh": "0.074"},
        {"name": "on", "price_per_kwh": "0.1510"},
    ],
    "default_period": None,
    "seasons": [
        {
            "name": "winter",
            "first_day": "11-01",
            "last_day": "04-30",
            "rules": [MORNING, DAY, NIGHT],
        },
        {
            "name": "summer",
            "first_day": "05-01",
            "last_day": "10-31",
            "rules": [MORNING, DAY, NIGHT],
        },
    ],
    "holidays": ["2026-12-25"],
    "holiday_period": "off",
}


def problems_of(document):
    with pytest.raises(TariffError) as refused:
        from_json(document)
    return refused.value.problems


def changed(*path, to):
    document = deepcopy(GOOD)
    place = document
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = to
    return document


def test_good_document_comes_back_as_it_was():
    assert to_json(from_json(GOOD)) == GOOD
    assert from_json(to_json(from_json(GOOD))) == from_json(GOOD)


def test_flat_document_comes_back_as_it_was():
    document = {"kind": "flat", "price_per_kwh": "0.2450"}
    assert from_json(document) == Tariff(FlatTariff(Decimal("0.2450")))
    assert to_json(from_json(document)) == document


def rules(*entries):
    return changed("seasons", 0, "rules", to=list(entries))


@pytest.mark.parametrize(
    ("document", "problem"),
    [
        ([], "a tariff must be a JSON object, not []"),
        (
            {"kind": "barter"},
            "kind of tariff must be 'flat', 'tiered' or 'time_of_use', not 'barter'",
        ),
        ({"kind": "flat"}, "the tariff needs 'price_per_kwh' as text, not None"),
        (
            {"kind": "flat", "price_per_kwh": 0.21},
            "the tariff needs 'price_per_kwh' as text, not 0.21",
        ),
        (
            {"kind": "flat", "price_per_kwh": "0,21"},
            "the tariff: price '0,21' is not a decimal number",
        ),
        (
            {"kind": "flat", "price_per_kwh": "-1"},
            "price for a kWh must not be negative, but is -1",
        ),
        (
            {"kind": "flat", "price_per_kwh": "NaN"},
            "price for a kWh must be a decimal number, not Decimal('NaN')",
        ),
        (
            changed("time_zone", to="Mars/Olympus"),
            "time zone 'Mars/Olympus' is not known; use a name such as 'Europe/Berlin'",
        ),
        (
            changed("periods", 0, "price_per_kwh", to="-0.1"),
            "price of period 'off' must not be negative, but is -0.1",
        ),
        (changed("default_period", to="mid"), "default period 'mid' is not one of the periods"),
        (changed("holiday_period", to="mid"), "holiday period 'mid' is not one of the periods"),
        (changed("holiday_period", to=None), "holidays are listed, but not which period they have"),
        (changed("holidays", to=["25.12."]), "holiday '25.12.' is not a date such as 2026-12-25"),
        (
            rules(MORNING, {**DAY, "period": "peak"}, NIGHT),
            "season 'winter': period 'peak' is not one of the periods",
        ),
        (
            rules(MORNING, DAY, {**NIGHT, "to": "25:00"}),
            "season 'winter': '25:00' is after 24:00; hours go from 00:00 to 24:00",
        ),
        (
            rules(MORNING, DAY, {**NIGHT, "to": "soon"}),
            "season 'winter': 'soon' is not a time of day such as 07:00",
        ),
        (
            rules({**NIGHT, "to": "07:00"}, DAY),
            "season 'winter': hours 19:30 to 07:00 do not go forward; "
            "give a range over midnight as two ranges",
        ),
        (
            rules({**DAY, "weekdays": ["Montag"]}),
            "season 'winter': weekdays must be a list of mon, tue, wed, thu, fri, sat, sun, "
            "not ['Montag']",
        ),
        (
            rules({**DAY, "weekdays": []}),
            "season 'winter': weekdays must be from Monday (0) to Sunday (6)",
        ),
        (
            rules(MORNING, DAY, {**NIGHT, "weekdays": DAILY[:6]}),
            "season 'winter', sun: 19:30 to 24:00 has no period",
        ),
        (
            rules(MORNING, DAY, {**NIGHT, "weekdays": ["tue", "wed", "thu", "sat", "sun"]}),
            "season 'winter', mon, fri: 19:30 to 24:00 has no period",
        ),
        (
            rules({**MORNING, "from": "00:30"}, DAY, {**NIGHT, "weekdays": DAILY}),
            "season 'winter', mon to sun: 00:00 to 00:30 has no period",
        ),
        (
            rules(MORNING, DAY, {**NIGHT, "from": "18:00"}),
            "season 'winter', mon to sun: 18:00 to 19:30 has two periods",
        ),
        (changed("seasons", 0, "last_day", to="04-29"), "no season holds on 04-30"),
        (changed("seasons", to=[]), "no season holds on 01-01"),
        (
            changed("seasons", 0, "last_day", to="05-01"),
            "seasons 'winter' and 'summer' both hold on 05-01",
        ),
        (
            changed("seasons", 0, "last_day", to="04-31"),
            "season 'winter': 04-31 is not a day of the year",
        ),
        (
            changed("seasons", 0, "last_day", to="April"),
            "season 'winter': 'April' is not a day of the year such as 11-01",
        ),
        (changed("seasons", to="all"), "seasons must be a list of objects, not 'all'"),
        (changed("holidays", to=True), "holidays must be a list of dates, not True"),
        (changed("holidays", to=7), "holidays must be a list of dates, not 7"),
        (
            changed("holidays", to=["2026-12-25"] * 501),
            "holidays are 501: at most 500 are read",
        ),
        (
            changed("seasons", 0, "name", to="w" * 65),
            "a season needs 'name' in 64 letters or fewer",
        ),
        (
            {"kind": "flat", "price_per_kwh": "1e999999"},
            "price for a kWh must be at most 999,999, with 6 decimals or fewer, but is 1E+999999",
        ),
        (
            {"kind": "flat", "price_per_kwh": "0.2100001"},
            "price for a kWh must be at most 999,999, with 6 decimals or fewer, but is 0.2100001",
        ),
    ],
)
def test_broken_document_is_refused_with_its_problem(document, problem):
    assert problems_of(document)[0] == problem


def test_more_periods_than_letters_are_refused():
    """A picture of the tariff names its periods A to Z."""
    document = changed("time_zone", to="Europe/Berlin")
    document["periods"] += [{"name": f"p{n}", "price_per_kwh": "1"} for n in range(25)]
    assert problems_of(document) == (
        f"periods are {len(document['periods'])}: at most 24 are read",
    )


def test_problems_of_sense_are_named_together():
    document = changed("time_zone", to="Mars/Olympus")
    document["periods"].append({"name": "on", "price_per_kwh": "1"})
    document["seasons"][0]["rules"] = [DAY]
    problems = problems_of(document)
    assert len(problems) == 2 + 2  # two gaps, each the same on all seven days
    assert problems[1] == "period 'on' is given twice"


def test_29_february_needs_a_season_too():
    document = changed("seasons", 0, "last_day", to="02-28")
    document["seasons"][1]["first_day"] = "03-01"
    assert problems_of(document) == ("no season holds on 02-29",)


def test_default_period_fills_what_no_rule_names():
    document = rules(DAY)
    document["default_period"] = "off"
    tariff = from_json(document).energy
    assert tariff.periods_of_day(date(2026, 1, 5)) == ((0, "off"), (420, "on"), (1170, "off"))
    assert tariff.periods_of_day(date(2026, 12, 25)) == ((0, "off"),)


# Ontario off-peak holidays of 2017, bluewaterpower.com. The supplier also moves Canada Day to
# 3 July and counts the civic holiday of 7 August, which the province's law leaves optional.
ONTARIO_2017 = "01-02 02-20 04-14 05-22 07-03 08-07 09-04 10-09 12-25 12-26"
SUPPLIERS_OWN = "07-03 08-07"


def days_of_2017(text):
    return {date.fromisoformat(f"2017-{day}") for day in text.split()}


def test_holidays_of_ontario_with_the_day_in_lieu():
    found = set(holiday_dates("CA", "ON", [2017]))
    listed = days_of_2017(ONTARIO_2017)
    assert listed - found == days_of_2017(SUPPLIERS_OWN)
    # 1 January and 1 July fell on a weekend: harmless in a list whose weekends are off-peak.
    assert {day for day in found - listed if day.weekday() < 5} == set()


def test_holidays_of_several_years_and_of_a_whole_country():
    # 5 July 2021, Monday after Independence Day (from memory: US federal holiday calendar).
    found = holiday_dates("US", None, [2021, 2022])
    assert date(2021, 7, 5) in found
    assert {day.year for day in found} == {2021, 2022}


@pytest.mark.parametrize("place", [("ZZ", None), ("CA", "QQ")])
def test_holidays_of_an_unknown_place_are_refused(place):
    with pytest.raises(ValueError, match="has no known holidays"):
        holiday_dates(*place, [2026])
