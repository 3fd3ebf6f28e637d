"""Aim: a whole bill, energy to tax, is what the supplier's published prices make it. Method: bills
worked from prices on named pages, and bills that suppliers work out themselves."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.bill import bill_of
from billing.calculations.metered_energy import MeteredEnergy
from billing.calculations.prices import TariffError
from billing.calculations.tariff_documents import from_json, to_json
from billing.calculations.tariff_prices import dearest_kwh

WORKDAYS = ["mon", "tue", "wed", "thu", "fri"]
ALL_YEAR = {"name": "all year", "first_day": "01-01", "last_day": "12-31"}


def used(zone, start, end, energy_wh):
    """Energy spread evenly between two local wall-clock times."""
    start_at = datetime.fromisoformat(start).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)
    end_at = datetime.fromisoformat(end).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)
    return MeteredEnergy(start_at, end_at, energy_wh)


def demand(price, *, minutes=30, periods=(), name="demand"):
    prices = [{**ALL_YEAR, "price_per_kw": price}]
    return {"name": name, "window_minutes": minutes, "periods": list(periods), "prices": prices}


def flat(price, zone, **charges):
    return from_json(
        {"kind": "flat", "format": 2, "price_per_kwh": price, "time_zone": zone, **charges}
    )


def rule(period, start, end, weekdays=WORKDAYS):
    return {"weekdays": weekdays, "from": start, "to": end, "period": period}


CHICAGO, INDIANA = "America/Chicago", "America/Indiana/Indianapolis"


def month_with_peak(zone, month, peak_kw, total_kwh):
    """One hour at the peak, the rest spread over ten days."""
    rest_wh = total_kwh * 1000 - peak_kw * 1000
    return [
        used(zone, f"{month}-03T10:00", f"{month}-03T11:00", peak_kw * 1000),
        used(zone, f"{month}-05T00:00", f"{month}-15T00:00", rest_wh),
    ]


@pytest.mark.parametrize(
    ("kwh_price", "kw_price", "monthly", "total_minor"),
    [
        # City of Batavia, Illinois, Demand Rate, 1 May 2015: 80 + 132.09 + 407.00.
        ("0.04403", "16.28", "80", 61909),
        # City of Harrisonville, Missouri, Combined Light & Power: 42.77 + 252.00 + 254.25.
        ("0.0840", "10.17", "42.77", 54902),
    ],
)
def test_bill_with_demand(kwh_price, kw_price, monthly, total_minor):
    tariff = flat(kwh_price, CHICAGO, fixed={"per_month": monthly}, demand=[demand(kw_price)])
    loads = {"meter": month_with_peak(CHICAGO, "2023-05", 25, 3000)}
    bill = bill_of(tariff, loads, date(2023, 5, 1), date(2023, 5, 31))
    assert bill.total_minor(2) == total_minor


def test_kiln_that_lifts_the_peak_by_10_kw_costs_162_80_whatever_its_energy():
    # City of Batavia again: 10 kW at 16.28.
    tariff = flat("0", CHICAGO, demand=[demand("16.28", minutes=15)])
    meter = month_with_peak(CHICAGO, "2023-05", 25, 3000)
    kiln = [used(CHICAGO, "2023-05-03T10:15", "2023-05-03T10:30", 2500)]
    days = date(2023, 5, 1), date(2023, 5, 31)
    without, together = (
        bill_of(tariff, loads, *days).total_minor(2)
        for loads in ({"meter": meter}, {"meter": meter, "kiln": kiln})
    )
    assert together - without == 16280


HAYWOOD = {
    "kind": "time_of_use",
    "format": 2,
    "time_zone": "America/New_York",
    "periods": [
        # The winter's off-peak price was not on the page: the summer's stands in its place here.
        {"name": "on", "price_per_kwh": "0.0714", "season_prices": {"summer": "0.0840"}},
        {"name": "off", "price_per_kwh": "0.0700"},
    ],
    "price_seasons": [{"name": "summer", "first_day": "06-01", "last_day": "10-31"}],
    "default_period": "off",
    "seasons": [
        {
            "name": "mornings",
            "first_day": "10-16",
            "last_day": "04-15",
            "rules": [rule("on", "06:00", "09:00")],
        },
        {
            "name": "afternoons",
            "first_day": "04-16",
            "last_day": "10-15",
            "rules": [rule("on", "15:00", "18:00")],
        },
    ],
    "holidays": [],
    "holiday_period": None,
    "fixed": {"per_day": "0", "per_month": "32.50"},
    "demand": [
        {
            "name": "on-peak demand",
            "window_minutes": 30,
            "periods": ["on"],
            "prices": [
                {
                    "name": "summer",
                    "first_day": "06-01",
                    "last_day": "10-31",
                    "price_per_kw": "15.50",
                },
                {
                    "name": "winter",
                    "first_day": "11-01",
                    "last_day": "05-31",
                    "price_per_kw": "13.20",
                },
            ],
        },
        demand("2.75", name="monthly demand"),
    ],
}


def test_haywood_bill_has_two_demand_charges():
    # Haywood EMC time-of-day, single phase, July: 12 kW on peak, 18 kW at any hour, 200 kWh on
    # and 1800 off peak = 32.50 + 186.00 + 49.50 + 16.80 + 126.00 = 410.80.
    zone = "America/New_York"
    loads = {
        "meter": [
            used(zone, "2025-07-08T15:00", "2025-07-08T17:00", 24_000),
            used(zone, "2025-07-08T20:00", "2025-07-08T21:00", 18_000),
            *(
                used(zone, f"2025-07-{day:02d}T15:00", f"2025-07-{day:02d}T18:00", 17_600)
                for day in (*range(14, 19), *range(21, 26))
            ),
            used(zone, "2025-07-09T18:00", "2025-07-14T06:00", 1_782_000),
        ]
    }
    # 1,782 kWh in 108 hours would be 16.5 kW on Thursday's and Friday's on-peak hours too.
    loads["meter"][-1:] = [
        used(zone, f"2025-07-{day:02d}T20:00", f"2025-07-{day + 1:02d}T08:00", 99_000)
        for day in range(8 + 1, 27)
    ]
    bill = bill_of(from_json(HAYWOOD), loads, date(2025, 7, 1), date(2025, 7, 31))
    by_name = {line.name: (line.quantity, line.cost) for line in bill.lines}
    assert by_name["on-peak demand"] == (12, 186)
    assert by_name["monthly demand"] == (18, Fraction("49.50"))
    assert by_name["on, summer"] == (200, Fraction("16.80"))
    assert by_name["off"] == (1800, 126)
    assert bill.total_minor(2) == 41080


@pytest.mark.parametrize(
    ("day", "hours", "price", "kw_price"),
    [
        # Haywood's price seasons (Jun-Oct) and hour seasons (16 Apr-15 Oct) differ: all four mixes.
        ("2025-05-06", ("15:00", "18:00"), "0.0714", "13.20"),
        ("2025-10-07", ("15:00", "18:00"), "0.0840", "15.50"),
        ("2025-10-21", ("06:00", "09:00"), "0.0840", "15.50"),
        ("2025-11-04", ("06:00", "09:00"), "0.0714", "13.20"),
    ],
)
def test_haywood_price_seasons_are_not_its_hour_seasons(day, hours, price, kw_price):
    start, end = hours
    loads = {"kiln": [used("America/New_York", f"{day}T{start}", f"{day}T{end}", 30_000)]}
    first = date.fromisoformat(day).replace(day=1)
    bill = bill_of(from_json(HAYWOOD), loads, first, first + timedelta(days=27))
    (energy,) = [line for line in bill.lines if line.kind == "energy"]
    assert (energy.quantity, energy.price) == (30, Fraction(price))
    month = (first.replace(day=28) + timedelta(days=4)).replace(day=1) - first
    on_peak = next(line for line in bill.lines if line.name == "on-peak demand")
    assert on_peak.cost == 10 * Fraction(kw_price) * Fraction(28, month.days)


def test_hendricks_bill():
    # Hendricks Power, large commercial, from 1 Apr 2023: 150 + 6.55 + 158.92 + 395.75 = 711.22.
    tariff = from_json(
        {
            "kind": "time_of_use",
            "format": 2,
            "time_zone": INDIANA,
            "periods": [
                {"name": "on", "price_per_kwh": "0.0655"},
                {"name": "off", "price_per_kwh": "0.0548"},
            ],
            "default_period": "off",
            "seasons": [{**ALL_YEAR, "rules": [rule("on", "17:00", "20:00")]}],
            "fixed": {"per_month": "150"},
            "demand": [demand("15.83", minutes=15)],
        }
    )
    loads = {
        "meter": [
            used(INDIANA, "2023-05-02T17:00", "2023-05-02T20:00", 50_000),
            used(INDIANA, "2023-05-03T17:00", "2023-05-03T20:00", 50_000),
            used(INDIANA, "2023-05-04T08:00", "2023-05-04T09:00", 25_000),
            used(INDIANA, "2023-05-05T20:00", "2023-05-08T17:00", 1_400_000),
            used(INDIANA, "2023-05-12T20:00", "2023-05-15T17:00", 1_475_000),
        ]
    }
    bill = bill_of(tariff, loads, date(2023, 5, 1), date(2023, 5, 31))
    assert bill.total_minor(2) == 71122


def test_ofgem_day_with_its_standing_charge():
    # Ofgem price cap, Oct-Dec 2024 (tax included): 60 kWh at 24.50 p and a day at 60.99 p.
    tariff = flat("0.2450", "Europe/London", fixed={"per_day": "0.6099"})
    loads = {"kiln": [used("Europe/London", "2024-11-05T08:00", "2024-11-05T18:00", 60_000)]}
    bill = bill_of(tariff, loads, date(2024, 11, 5), date(2024, 11, 5))
    assert bill.cost == Fraction("15.3099")
    assert bill.total_minor(2) == 1531


def test_riverland_day_charge():
    # Riverland Energy Cooperative, 1 May 2023: 1.26 a day.
    tariff = flat("0", CHICAGO, fixed={"per_day": "1.26"})
    bill = bill_of(tariff, {}, date(2023, 7, 1), date(2023, 7, 31))
    assert bill.cost == Fraction("39.06")


# City of Seymour (cityofseymour.org, "Bill comparison"): its own two worked bills, with
# a power cost of 0.085 for each kWh, 7.50 for the month and 1 % city sales tax.
SEYMOUR = {
    "winter": ["250 0.064", "700 0.049", "- 0.0446"],
    "summer": ["250 0.064", "700 0.049", "1250 0.0475", "- 0.0446"],
}


@pytest.mark.parametrize(
    ("season", "kwh", "costs", "total_minor"),
    [
        ("winter", 1200, ["16.00", "22.05", "22.30"], 17155),
        ("summer", 2000, ["16.00", "22.05", "26.125", "33.45"], 27788),
    ],
)
def test_seymour_bills_by_block_with_tax(season, kwh, costs, total_minor):
    blocks = [block.split() for block in SEYMOUR[season]]
    tiers = [
        {"up_to_kwh": None if top == "-" else top, "price_per_kwh": price} for top, price in blocks
    ]
    tariff = from_json(
        {
            "kind": "tiered",
            "format": 2,
            "time_zone": CHICAGO,
            "tiers": tiers,
            "fixed": {"per_month": "7.50"},
            "taxes": [
                {"name": "power cost", "per_kwh": "0.085"},
                {"name": "city sales tax", "percent": "1"},
            ],
        }
    )
    loads = {"meter": [used(CHICAGO, "2023-03-02T00:00", "2023-03-30T00:00", kwh * 1000)]}
    bill = bill_of(tariff, loads, date(2023, 3, 1), date(2023, 3, 31))
    assert [line.cost for line in bill.lines if line.kind == "energy"] == [
        Fraction(cost) for cost in costs
    ]
    assert bill.total_minor(2) == total_minor


def test_part_of_a_month_pays_its_days():
    # Arithmetic: 9 of the 30 days of June and the whole of July.
    tariff = flat("0", INDIANA, fixed={"per_month": "30"})
    bill = bill_of(tariff, {}, date(2023, 6, 22), date(2023, 7, 31))
    assert bill.cost == 9 + 30


def test_what_is_sold_back_counts_nothing():
    tariff = flat("0.20", INDIANA, demand=[demand("10")])
    sold = used(INDIANA, "2023-05-02T12:00", "2023-05-02T13:00", -4000)
    bought = used(INDIANA, "2023-05-02T13:00", "2023-05-02T14:00", 5000)
    days = date(2023, 5, 1), date(2023, 5, 31)
    bill = bill_of(tariff, {"meter": [sold, bought]}, *days)
    assert bill.sold_back_wh == 4000
    assert bill.lines == bill_of(tariff, {"meter": [bought]}, *days).lines


def test_energy_of_other_days_is_cut_off():
    tariff = flat("0.10", INDIANA)
    night = used(INDIANA, "2023-05-31T22:00", "2023-06-01T02:00", 4000)
    bill = bill_of(tariff, {"kiln": [night]}, date(2023, 5, 1), date(2023, 5, 31))
    assert bill.cost == Fraction("0.2")


def test_days_that_go_backwards_are_refused():
    with pytest.raises(ValueError, match="lies before first_day"):
        bill_of(flat("0.1", INDIANA), {}, date(2023, 5, 2), date(2023, 5, 1))


@given(st.integers(1, 500_000), st.integers(1, 59), st.integers(0, 47))
def test_splitting_an_interval_changes_no_bill(energy_wh, minute, hour):
    """In whole Wh: the two halves hold the energy that proportion gives them."""
    tariff = from_json(
        {**HAYWOOD, "taxes": [{"name": "a", "per_kwh": "0.01"}, {"name": "b", "percent": "7"}]}
    )
    start_at = datetime(2025, 7, 8, tzinfo=UTC) + timedelta(hours=hour)
    middle_at, end_at = start_at + timedelta(minutes=minute), start_at + timedelta(minutes=60)
    first_wh = energy_wh * minute
    whole = [MeteredEnergy(start_at, end_at, energy_wh * 60)]
    halves = [
        MeteredEnergy(start_at, middle_at, first_wh),
        MeteredEnergy(middle_at, end_at, energy_wh * 60 - first_wh),
    ]
    days = date(2025, 7, 1), date(2025, 7, 31)
    assert bill_of(tariff, {"k": whole}, *days).cost == bill_of(tariff, {"k": halves}, *days).cost


@given(
    st.lists(st.tuples(st.integers(0, 700), st.integers(1, 30), st.integers(0, 90_000)), max_size=8)
)
def test_bill_adds_up_and_does_not_care_who_used_the_energy(uses):
    """One load that runs alone, or the same intervals as loads of their own."""
    start_at = datetime(2025, 10, 1, 4, tzinfo=UTC)
    parts = [
        MeteredEnergy(
            start_at + timedelta(hours=hour), start_at + timedelta(hours=hour + hours), wh
        )
        for hour, hours, wh in uses
    ]
    loads = {number: [part] for number, part in enumerate(parts)}
    tariff = from_json(HAYWOOD)
    bill = bill_of(tariff, loads, date(2025, 10, 1), date(2025, 10, 31))
    energy = [line for line in bill.lines if line.kind == "energy"]
    in_month = bill_of(flat("1", "America/New_York"), loads, date(2025, 10, 1), date(2025, 10, 31))
    assert sum(line.quantity for line in energy) == in_month.cost
    assert all(line.quantity * line.price == line.cost for line in bill.lines)
    assert bill.cost == sum(line.cost for line in bill.lines)


def test_documents_of_format_2_come_back_as_they_were():
    assert to_json(from_json(HAYWOOD)) == HAYWOOD
    assert from_json(to_json(from_json(HAYWOOD))) == from_json(HAYWOOD)


@pytest.mark.parametrize(
    ("changes", "problem"),
    [
        ({"format": 3}, "format of a tariff must be one of (1, 2), not 3"),
        ({"fixed": 3}, "fixed must be an object, not 3"),
        ({"fixed": {"per_day": "-1"}}, "fixed charge for a day must not be negative, but is -1"),
        (
            {"demand": [demand("1", minutes=20)]},
            "demand charge 'demand' must be the mean of 15, 30 or 60 minutes, not 20",
        ),
        (
            {"demand": [demand("1", periods=["peak"])]},
            "demand charge 'demand': 'peak' is not one of the periods",
        ),
        ({"demand": [demand("1"), demand("2")]}, "charge 'demand' is given twice"),
        (
            {"demand": [{**demand("1"), "prices": []}]},
            "demand charge 'demand': no season holds on 01-01",
        ),
        (
            {"taxes": [{"name": "VAT"}]},
            "tax 'VAT' needs either a percentage or an amount for a kWh",
        ),
        (
            {"taxes": [{"name": "VAT", "percent": "119"}]},
            "percentage of tax 'VAT' must be at most 100, but is 119",
        ),
        (
            {"taxes": [{"name": "VAT", "percent": "many"}]},
            "tax 'VAT': percent 'many' is not a decimal number",
        ),
        (
            {"price_seasons": []},
            "period 'on': 'summer' is not one of the price seasons",
        ),
        (
            {
                "price_seasons": [
                    {"name": "summer", "first_day": "06-01", "last_day": "10-31"},
                    {"name": "autumn", "first_day": "10-01", "last_day": "11-30"},
                ]
            },
            "seasons 'summer' and 'autumn' both hold on 10-01",
        ),
    ],
)
def test_broken_charges_are_refused_with_their_problem(changes, problem):
    with pytest.raises(TariffError) as refused:
        from_json({**HAYWOOD, **changes})
    assert refused.value.problems[0] == problem


@pytest.mark.parametrize(
    ("tiers", "problem"),
    [
        ([], "a tiered tariff needs at least one tier with its price"),
        (
            [("250", "0.1")],
            "energy above 250 kWh has no price: leave the upper end of the last tier empty",
        ),
        (
            [(None, "0.1"), (None, "0.2")],
            "tier 1 has no upper end, but tier 2 follows it",
        ),
        (
            [("300", "0.1"), ("250", "0.2"), (None, "0.3")],
            "tier 2 ends at 250 kWh, not above the 300 kWh of the one before",
        ),
        (
            [("0", "0.1"), (None, "0.2")],
            "tier 1 must end at a number of kWh above 0, in whole Wh, not 0",
        ),
        ([("250", "-0.1"), (None, "0.2")], "price of tier 1 must not be negative, but is -0.1"),
    ],
)
def test_blocks_with_a_gap_or_out_of_order_are_refused(tiers, problem):
    document = {
        "kind": "tiered",
        "time_zone": CHICAGO,
        "tiers": [{"up_to_kwh": top, "price_per_kwh": price} for top, price in tiers],
    }
    with pytest.raises(TariffError) as refused:
        from_json(document)
    assert problem in refused.value.problems


def test_charges_without_a_time_zone_are_refused():
    with pytest.raises(ValueError, match="needs its time zone"):
        from_json({"kind": "flat", "price_per_kwh": "0.1", "fixed": {"per_day": "1"}})


def test_dearest_price_includes_a_tax_by_kwh():
    tariff = flat("0.2", CHICAGO, taxes=[{"name": "levy", "per_kwh": "2.05"}])
    assert dearest_kwh(tariff) == Decimal("2.25")
