"""Aim: every kWh gets the price that its local wall clock says. Method: bills worked from prices
that suppliers published (no taxes), named beside each."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.metered_energy import MeteredEnergy
from billing.calculations.tariff_documents import from_json
from billing.calculations.tariffs import (
    FlatTariff,
    PricedPeriod,
    energy_cost_minor,
    price_energy,
)

WORKDAYS = ["mon", "tue", "wed", "thu", "fri"]
EVERY_DAY = [*WORKDAYS, "sat", "sun"]


def rule(period, start, end, weekdays=WORKDAYS):
    return {"weekdays": weekdays, "from": start, "to": end, "period": period}


def season(name, first_day, last_day, *rules):
    return {"name": name, "first_day": first_day, "last_day": last_day, "rules": list(rules)}


def time_of_use(zone, prices, seasons, default="off", holidays=()):
    periods = [{"name": name, "price_per_kwh": price} for name, price in prices.items()]
    return from_json(
        {
            "kind": "time_of_use",
            "time_zone": zone,
            "periods": periods,
            "default_period": default,
            "seasons": seasons,
            "holidays": list(holidays),
            "holiday_period": default,
        }
    ).energy


def ontario(off, mid, on, holidays=()):
    """Ontario Energy Board time-of-use periods (hydroottawa.com, opuc.on.ca, 1 Nov 2022)."""
    return time_of_use(
        "America/Toronto",
        {"off": off, "mid": mid, "on": on},
        [
            season(
                "winter",
                "11-01",
                "04-30",
                rule("on", "07:00", "11:00"),
                rule("mid", "11:00", "17:00"),
                rule("on", "17:00", "19:00"),
            ),
            season(
                "summer",
                "05-01",
                "10-31",
                rule("mid", "07:00", "11:00"),
                rule("on", "11:00", "17:00"),
                rule("mid", "17:00", "19:00"),
            ),
        ],
        holidays=holidays,
    )


def steady(zone, start, end, power_w):
    """One interval of steady power between two local wall-clock times."""
    start_at = datetime.fromisoformat(start).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)
    end_at = datetime.fromisoformat(end).replace(tzinfo=ZoneInfo(zone)).astimezone(UTC)
    energy_wh = power_w * ((end_at - start_at) // timedelta(minutes=1)) // 60
    return [MeteredEnergy(start_at, end_at, energy_wh)]


def kwh_of(tariff, intervals):
    return {row.name: row.energy_wh / 1000 for row in price_energy(tariff, intervals)}


def cost_of(tariff, intervals):
    return sum(row.cost for row in price_energy(tariff, intervals))


ONTARIO_2022 = ontario("0.074", "0.102", "0.151", holidays=["2022-12-26"])


def test_ontario_winter_weekday_into_the_night():
    # OEB prices of 1 Nov 2022: 1 h mid, 2 h on, 9 h off at 5 kW = 535.0 cents.
    night = steady("America/Toronto", "2023-01-10T16:00", "2023-01-11T04:00", 5000)
    assert price_energy(ONTARIO_2022, night) == [
        PricedPeriod("off", 45_000, Decimal("0.074"), Decimal("3.33")),
        PricedPeriod("mid", 5_000, Decimal("0.102"), Decimal("0.51")),
        PricedPeriod("on", 10_000, Decimal("0.151"), Decimal("1.51")),
    ]
    assert energy_cost_minor(price_energy(ONTARIO_2022, night), 2) == 535


def test_ontario_holiday_is_off_all_day():
    # Same prices, 60 kWh at 7.4 cents = 444.0 cents; 26 Dec 2022 is a Monday.
    night = steady("America/Toronto", "2022-12-26T16:00", "2022-12-27T04:00", 5000)
    assert cost_of(ONTARIO_2022, night) == Decimal("4.44")


def test_holiday_ends_at_local_midnight():
    night = steady("America/Toronto", "2022-12-26T16:00", "2022-12-27T08:00", 5000)
    assert kwh_of(ONTARIO_2022, night) == {"off": 75, "on": 5}


def test_seasons_change_at_local_midnight():
    # Ontario: summer begins on 1 May. 30 Apr 2024 is a Tuesday: 11 to 17 is mid, then on.
    days = steady("America/Toronto", "2024-04-30T11:00", "2024-05-01T17:00", 1000)
    assert kwh_of(ONTARIO_2022, days) == {"mid": 6 + 4, "on": 2 + 6, "off": 12}


def test_ontario_2018_summer_and_2014_winter_prices():
    # burlingtonhydro.com: 6.5, 9.4, 13.2 cents from 1 May 2018; 7.7, 11.4, 14.0 in winter 2014.
    summer = steady("America/Toronto", "2018-07-10T00:00", "2018-07-11T00:00", 1000)
    winter = steady("America/Toronto", "2014-12-02T00:00", "2014-12-03T00:00", 1000)
    assert cost_of(ontario("0.065", "0.094", "0.132"), summer) == Decimal("2.136")
    assert cost_of(ontario("0.077", "0.114", "0.140"), winter) == Decimal("2.448")


def test_oeb_sample_bill_is_rounded_once_at_the_total():
    # OEB sample bill (studylib 18211125): 135 on, 127 mid, 488 off-peak kWh at 13.2, 9.5 and
    # 6.5 cents = 61.605; half up 61.61, where half to even would give 61.60.
    summer = [
        *steady("America/Toronto", "2017-07-10T11:00", "2017-07-10T17:00", 135_000 // 6),
        *steady("America/Toronto", "2017-07-11T07:00", "2017-07-11T11:00", 127_000 // 4),
        *steady("America/Toronto", "2017-07-12T19:00", "2017-07-13T03:00", 488_000 // 8),
    ]
    priced = price_energy(ontario("0.065", "0.095", "0.132"), summer)
    costs = {row.name: row.cost for row in priced}
    assert costs == {"on": Decimal("17.82"), "mid": Decimal("12.065"), "off": Decimal("31.72")}
    assert energy_cost_minor(priced, 2) == 6161


def riverland():
    """Riverland Energy Cooperative TOU, 1 May 2023: winter hours hold on all days."""
    return time_of_use(
        "America/Chicago",
        {"on": "0.3843", "off": "0.0818"},
        [
            season("summer", "06-01", "09-30", rule("on", "14:00", "18:00")),
            season("winter", "10-01", "05-31", rule("on", "17:00", "21:00", EVERY_DAY)),
        ],
        holidays=["2023-07-04", "2023-09-04"],
    )


def test_riverland_july_weekday_and_holiday():
    weekday = steady("America/Chicago", "2023-07-11T12:00", "2023-07-11T20:00", 5000)
    holiday = steady("America/Chicago", "2023-07-04T12:00", "2023-07-04T20:00", 5000)
    assert cost_of(riverland(), weekday) == Decimal("9.322")
    assert kwh_of(riverland(), holiday) == {"off": 40}


def test_bartholomew_keeps_standard_time_in_summer():
    # Bartholomew County REMC residential TOU: hours are stated in EST, so the zone is UTC-5 all
    # year. 6 kW from 14 to 22 EST: 18 kWh on, 30 off = 9.21672.
    tariff = time_of_use(
        "Etc/GMT+5",
        {"summer on": "0.37089", "winter on": "0.26049", "off": "0.08469"},
        [
            season("spring", "03-01", "05-31"),
            season("summer", "06-01", "08-31", rule("summer on", "16:00", "19:00")),
            season("autumn", "09-01", "11-30"),
            season(
                "winter",
                "12-01",
                "02-29",
                rule("winter on", "07:00", "09:00"),
                rule("winter on", "19:00", "21:00"),
            ),
        ],
    )
    on_the_clock = steady("America/New_York", "2024-07-09T15:00", "2024-07-09T23:00", 6000)
    assert cost_of(tariff, on_the_clock) == Decimal("9.21672")
    winter = steady("Etc/GMT+5", "2024-02-29T06:00", "2024-02-29T10:00", 1000)
    assert kwh_of(tariff, winter) == {"winter on": 2, "off": 2}


def test_jackson_summer_ends_in_the_middle_of_a_month():
    # Jackson EMC schedule ATOU-06: 32.99 cents 15-20 Mon-Fri, 1 Jun to 15 Sep; else 5.89.
    tariff = time_of_use(
        "America/New_York",
        {"on": "0.3299", "off": "0.0589"},
        [
            season("summer", "06-01", "09-15", rule("on", "15:00", "20:00")),
            season("rest", "09-16", "05-31"),
        ],
    )
    last_day = steady("America/New_York", "2025-09-15T14:00", "2025-09-15T21:00", 1000)
    day_after = steady("America/New_York", "2025-09-16T14:00", "2025-09-16T21:00", 1000)
    assert kwh_of(tariff, last_day) == {"on": 5, "off": 2}
    assert kwh_of(tariff, day_after) == {"off": 7}


def test_haywood_summer_energy():
    # Haywood EMC time-of-day: 200 kWh at 8.40 and 1800 at 7.00 cents = 16.80 + 126.00 of the bill
    # of 410.80 (the rest is basic and demand charges). The winter prices are left out here.
    tariff = time_of_use(
        "America/New_York",
        {"on": "0.0840", "off": "0.0700"},
        [
            season("summer", "06-01", "10-15", rule("on", "15:00", "18:00")),
            season("rest", "10-16", "05-31"),
        ],
    )
    energy = [
        *steady("America/New_York", "2025-07-08T15:00", "2025-07-08T17:00", 100_000),
        *steady("America/New_York", "2025-07-08T18:00", "2025-07-09T06:00", 150_000),
    ]
    assert [row.cost for row in price_energy(tariff, energy)] == [Decimal("16.8"), Decimal(126)]


def test_hendricks_energy():
    # Hendricks Power, large commercial, from 1 Apr 2023: weeknights 17-20 0.0655, else 0.0548:
    # 100 and 2900 kWh = 6.55 + 158.92 of the bill of 711.22.
    tariff = time_of_use(
        "America/Indiana/Indianapolis",
        {"on": "0.0655", "off": "0.0548"},
        [season("year", "01-01", "12-31", rule("on", "17:00", "20:00"))],
    )
    energy = [
        *steady("America/Indiana/Indianapolis", "2023-05-02T17:00", "2023-05-02T19:00", 50_000),
        *steady("America/Indiana/Indianapolis", "2023-05-02T20:00", "2023-05-03T16:00", 145_000),
    ]
    assert [row.cost for row in price_energy(tariff, energy)] == [
        Decimal("6.55"),
        Decimal("158.92"),
    ]


@pytest.mark.parametrize(
    ("price", "energy_wh", "cost_minor"),
    [
        ("0.2450", 60_000, 1470),  # Ofgem cap Oct-Dec 2024: bill 15.3099 less 0.6099 standing
        ("0.04403", 3_000_000, 13209),  # City of Batavia, Demand Rate, 1 May 2015
        ("0.0840", 3_000_000, 25200),  # City of Harrisonville: 549.02 less 42.77 and 254.25
        ("0.21", 40_320, 847),  # P. Bridges, 2011: 11.52 kW x 50 % x 7 h
        ("0.21", 63_648, 1337),  # P. Bridges, 2011: 11.52 kW x 65 % x 8.5 h
    ],
)
def test_flat_bills(price, energy_wh, cost_minor):
    start_at = datetime(2024, 11, 5, tzinfo=UTC)
    use = [MeteredEnergy(start_at, start_at + timedelta(hours=9), energy_wh)]
    priced = price_energy(FlatTariff(Decimal(price)), use)
    assert [(row.name, row.energy_wh) for row in priced] == [("all hours", energy_wh)]
    assert energy_cost_minor(priced, 2) == cost_minor


def test_no_energy_costs_nothing():
    assert price_energy(ONTARIO_2022, []) == []
    assert price_energy(FlatTariff(Decimal(1)), []) == []
    assert energy_cost_minor([], 2) == 0


def test_interval_over_a_boundary_keeps_every_watt_hour():
    # Arithmetic: 100 Wh over 10:40 to 11:10 is 66 2/3 before 11:00 and 33 1/3 after.
    interval = steady("America/Toronto", "2023-01-10T10:40", "2023-01-10T11:10", 200)
    assert kwh_of(ONTARIO_2022, interval) == {"on": 0.067, "mid": 0.033}


# The length of each day is that of the tz database.
BERLIN_NIGHT = time_of_use(
    "Europe/Berlin",
    {"day": "0.40", "night": "0.30"},
    [
        season(
            "year",
            "01-01",
            "12-31",
            rule("night", "00:00", "06:00", EVERY_DAY),
            rule("night", "22:00", "24:00", EVERY_DAY),
        )
    ],
    default="day",
)


@pytest.mark.parametrize(
    ("start", "end", "kwh"),
    [
        ("2026-10-24T20:00", "2026-10-25T08:00", {"day": 4, "night": 9}),  # 13 h
        ("2026-03-28T20:00", "2026-03-29T08:00", {"day": 4, "night": 7}),  # 11 h
        ("2026-10-25T00:00", "2026-10-26T00:00", {"day": 16, "night": 9}),  # 25 h
        ("2026-03-29T00:00", "2026-03-30T00:00", {"day": 16, "night": 7}),  # 23 h
    ],
)
def test_berlin_clock_changes(start, end, kwh):
    assert kwh_of(BERLIN_NIGHT, steady("Europe/Berlin", start, end, 1000)) == kwh


def small_hour(zone, start, end):
    rules = rule("small", start, end, EVERY_DAY)
    seasons = [season("year", "01-01", "12-31", rules)]
    return time_of_use(zone, {"small": "0.1", "rest": "0.2"}, seasons, default="rest")


@pytest.mark.parametrize(
    ("zone", "day", "day_after", "hours", "kwh"),
    [
        # New York, 8 Mar: 02:00 to 03:00 does not exist; 1 Nov: 01:00 to 02:00 comes twice.
        ("America/New_York", "2026-03-08", "2026-03-09", ("02:00", "03:00"), {"rest": 23}),
        (
            "America/New_York",
            "2026-03-08",
            "2026-03-09",
            ("01:00", "02:00"),
            {"small": 1, "rest": 22},
        ),
        (
            "America/New_York",
            "2026-11-01",
            "2026-11-02",
            ("01:00", "02:00"),
            {"small": 2, "rest": 23},
        ),
        # Lord Howe moves by half an hour: 5 Apr 02:00 to 01:30, 4 Oct 02:00 to 02:30.
        (
            "Australia/Lord_Howe",
            "2026-04-05",
            "2026-04-06",
            ("01:00", "02:00"),
            {"small": 1.5, "rest": 23},
        ),
        (
            "Australia/Lord_Howe",
            "2026-10-04",
            "2026-10-05",
            ("02:00", "03:00"),
            {"small": 0.5, "rest": 23},
        ),
    ],
)
def test_hours_that_vanish_or_return(zone, day, day_after, hours, kwh):
    whole_day = steady(zone, f"{day}T00:00", f"{day_after}T00:00", 1000)
    assert kwh_of(small_hour(zone, *hours), whole_day) == kwh


def test_quarter_hours_of_the_long_day_price_like_the_whole_day():
    # Interval data in UTC: 100 quarter hours on the 25-hour day.
    start_at = datetime(2026, 10, 24, 22, tzinfo=UTC)
    quarter = timedelta(minutes=15)
    quarters = [
        MeteredEnergy(start_at + n * quarter, start_at + (n + 1) * quarter, 250) for n in range(100)
    ]
    assert kwh_of(BERLIN_NIGHT, quarters) == {"day": 16, "night": 9}


PATCHWORK = {
    zone: time_of_use(
        zone,
        {"a": "0.1", "b": "0.2", "c": "0.3", "off": "0.05"},
        [
            season(
                "cold",
                "10-15",
                "04-05",
                rule("a", "00:30", "02:15", EVERY_DAY),
                rule("b", "02:15", "07:00"),
                rule("c", "22:00", "24:00", ["sat", "sun"]),
            ),
            season("warm", "04-06", "10-14", rule("b", "01:45", "02:30", EVERY_DAY)),
        ],
        holidays=["2026-04-05", "2026-10-26"],
    )
    for zone in ("Europe/Berlin", "America/New_York", "Australia/Lord_Howe", "Asia/Kathmandu")
}


def price_minute_by_minute(tariff, interval):
    """An independent way: ask zoneinfo for the local time of each minute."""
    energy_of = {}
    moment = interval.start_at
    while moment < interval.end_at:
        local = moment.astimezone(tariff.zone)
        minute = local.hour * 60 + local.minute
        changes = tariff.periods_of_day(local.date())
        name = [period for starts, period in changes if starts <= minute][-1]
        energy_of[name] = energy_of.get(name, 0) + 1
        moment += timedelta(minutes=1)
    return energy_of


@given(
    st.sampled_from(sorted(PATCHWORK)),
    st.sampled_from(
        ["2026-03-08", "2026-03-28", "2026-04-04", "2026-10-03", "2026-10-25", "2026-11-01"]
    ),
    st.integers(0, 1440),
    st.integers(1, 3000),
)
def test_pricing_equals_minute_by_minute_around_clock_changes(zone, day, offset, minutes):
    start_at = datetime.fromisoformat(day).replace(tzinfo=UTC) + timedelta(minutes=offset)
    interval = MeteredEnergy(start_at, start_at + timedelta(minutes=minutes), minutes)
    priced = price_energy(PATCHWORK[zone], [interval])
    expected = price_minute_by_minute(PATCHWORK[zone], interval)
    assert {row.name: row.energy_wh for row in priced} == expected


NOON = datetime(2026, 5, 4, 12, tzinfo=UTC)
HOUR = timedelta(hours=1)


@pytest.mark.parametrize(
    ("intervals", "message"),
    [
        ([MeteredEnergy(datetime(2026, 5, 4, 12), NOON, 1)], "without a time zone"),  # noqa: DTZ001
        ([MeteredEnergy(NOON, NOON, 1)], "not after its start"),
        ([MeteredEnergy(NOON, NOON + HOUR, -1)], "energy_wh -1; it must be a whole number of Wh"),
        ([MeteredEnergy(NOON, NOON + HOUR, 1.5)], r"energy_wh 1.5; it must be a whole number"),
        (
            [MeteredEnergy(NOON, NOON + HOUR, 1), MeteredEnergy(NOON + HOUR / 2, NOON + HOUR, 1)],
            "intervals overlap: one starts at 2026-05-04 12:30",
        ),
    ],
)
def test_refuses_impossible_intervals(intervals, message):
    with pytest.raises(ValueError, match=message):
        price_energy(ONTARIO_2022, intervals)
