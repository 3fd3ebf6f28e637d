"""Aim: the billed peak is the highest mean of the month's windows, and everybody's part of it is
known. Method: published figures, arithmetic, and a minute-by-minute sum as an independent way."""

from datetime import UTC, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.demand import DemandCharge, mean_kw, peak_of, whole_year_price
from billing.calculations.metered_energy import MeteredEnergy

BERLIN = ZoneInfo("Europe/Berlin")
PRICE = whole_year_price(Decimal("10"))
QUARTER = DemandCharge("demand", 15, PRICE)


def at(text, zone=BERLIN):
    return datetime.fromisoformat(text).replace(tzinfo=zone).astimezone(UTC)


def used(start, end, energy_wh, zone=BERLIN):
    return MeteredEnergy(at(start, zone), at(end, zone), energy_wh)


def test_demand_from_interval_energy():
    # Energy Management Handbook (civilengineeringhandbook.tk ch. 185) and maximum-demand pages:
    # 150 kWh in half an hour are 300 kW; for a quarter of an hour kWh times four.
    assert mean_kw(150_000, 30) == 300
    assert mean_kw(1000, 15) == 4


def test_kilns_that_run_at_once_add_up():
    loads = {
        "big": [used("2026-03-10T10:00", "2026-03-10T12:00", 18_000)],
        "small": [used("2026-03-10T11:30", "2026-03-10T13:00", 4_500)],
    }
    peak = peak_of(QUARTER, loads, BERLIN)
    assert peak.start_at == at("2026-03-10T11:30")
    assert peak.kw == 12
    assert (peak.kw_of("big"), peak.kw_of("small"), peak.kw_of("none")) == (9, 3, 0)


@pytest.mark.parametrize(("minutes", "kw"), [(15, 8), (30, 4), (60, 2)])
def test_longer_windows_flatten_a_short_peak(minutes, kw):
    charge = DemandCharge("demand", minutes, PRICE)
    loads = {"kiln": [used("2026-03-10T10:00", "2026-03-10T10:15", 2000)]}
    assert peak_of(charge, loads, BERLIN).kw == kw


def test_of_equal_windows_the_first_counts():
    loads = {"kiln": [used("2026-03-10T10:00", "2026-03-10T14:00", 8000)]}
    assert peak_of(QUARTER, loads, BERLIN).start_at == at("2026-03-10T10:00")


def test_no_energy_no_peak():
    assert peak_of(QUARTER, {}, BERLIN) is None
    assert (
        peak_of(QUARTER, {"kiln": [used("2026-03-10T10:00", "2026-03-10T14:00", 0)]}, BERLIN)
        is None
    )


@pytest.mark.parametrize("day", ["2026-03-29", "2026-10-25"])
def test_windows_are_equally_long_on_the_days_of_clock_changes(day):
    # Europe/Berlin: 29 March 2026 lasts 23 hours, 25 October 25 (tz database).
    start_at = at(f"{day}T00:00")
    end_at = at((datetime.fromisoformat(day) + timedelta(days=1)).isoformat())
    hours = (end_at - start_at) // timedelta(hours=1)
    loads = {"kiln": [MeteredEnergy(start_at, end_at, hours * 5000)]}
    assert peak_of(QUARTER, loads, BERLIN).kw == 5


def test_windows_begin_on_the_local_clock():
    # Kathmandu is 5:45 ahead of UTC: its full hours are quarters to in UTC.
    kathmandu = ZoneInfo("Asia/Kathmandu")
    loads = {"kiln": [used("2026-03-10T10:00", "2026-03-10T11:00", 6000, kathmandu)]}
    peak = peak_of(DemandCharge("demand", 60, PRICE), loads, kathmandu)
    assert (peak.start_at, peak.kw) == (at("2026-03-10T10:00", kathmandu), 6)


def peak_by_minutes(loads, minutes):
    """An independent way: each minute's energy, summed into windows of the UTC hour."""
    found = {}
    for intervals in loads.values():
        for interval in intervals:
            length = (interval.end_at - interval.start_at) // timedelta(minutes=1)
            for minute in range(length):
                at_minute = interval.start_at + timedelta(minutes=minute)
                window = int(at_minute.timestamp()) // (60 * minutes)
                found[window] = found.get(window, 0) + Fraction(interval.energy_wh, length)
    return max(found.values()) * 60 / minutes / 1000


@given(
    st.lists(
        st.tuples(st.integers(0, 300), st.integers(1, 200), st.integers(1, 50_000)),
        min_size=1,
        max_size=6,
    ),
    st.sampled_from([15, 30, 60]),
)
def test_peak_equals_minute_by_minute(uses, minutes):
    start_at = datetime(2026, 10, 24, 23, tzinfo=UTC)
    loads = {
        number: [
            MeteredEnergy(
                start_at + timedelta(minutes=offset),
                start_at + timedelta(minutes=offset + length),
                energy_wh,
            )
        ]
        for number, (offset, length, energy_wh) in enumerate(uses)
    }
    peak = peak_of(DemandCharge("demand", minutes, PRICE), loads, BERLIN)
    assert peak.kw == peak_by_minutes(loads, minutes)
    assert sum(peak.kw_of(key) for key in loads) == peak.kw
