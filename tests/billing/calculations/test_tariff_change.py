"""Aim: a firing that spans a change of tariff has both prices, and every watt-hour one of them.
Method: arithmetic; cutting changes no sum."""

from datetime import UTC, date, datetime, timedelta
from decimal import Decimal
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.interval_cuts import cut_at
from billing.calculations.metered_energy import MeteredEnergy
from billing.calculations.tariff_documents import from_json
from billing.calculations.tariff_versions import DatedTariff, price_by_versions

BERLIN = ZoneInfo("Europe/Berlin")
OLD = DatedTariff(1, date(2026, 1, 1), from_json({"kind": "flat", "price_per_kwh": "0.20"}))
NEW = DatedTariff(
    2,
    date(2026, 4, 1),
    from_json(
        {
            "kind": "flat",
            "format": 2,
            "price_per_kwh": "0.30",
            "time_zone": "Europe/Berlin",
            "taxes": [{"name": "VAT", "percent": "10"}],
        }
    ),
)


def night(day, energy_wh):
    """From 20:00 to 04:00 of the next day, in Berlin."""
    start_at = datetime.fromisoformat(f"{day}T20:00").replace(tzinfo=BERLIN).astimezone(UTC)
    return [MeteredEnergy(start_at, start_at + timedelta(hours=8), energy_wh)]


def test_each_half_of_a_night_has_its_own_version():
    # 8 kWh from 20:00 on 31 March to 04:00: 4 kWh at 0.20, 4 at 0.30 and 10 % tax on those.
    old, new = price_by_versions([NEW, OLD], night("2026-03-31", 8000), BERLIN)
    assert [(p.energy_wh, p.cost) for p in old.periods] == [(4000, Decimal("0.8"))]
    assert [(p.energy_wh, p.cost) for p in new.periods] == [(4000, Decimal("1.2"))]
    assert old.taxes == ()
    assert [tax.cost for tax in new.taxes] == [Decimal("0.12")]


@pytest.mark.parametrize(("day", "key"), [("2026-03-30", 1), ("2026-04-01", 2)])
def test_other_nights_have_one_version(day, key):
    (priced,) = price_by_versions([OLD, NEW], night(day, 8000), BERLIN)
    assert priced.version.key == key


def test_energy_before_the_first_version_is_refused():
    with pytest.raises(ValueError, match="before the first version"):
        price_by_versions([OLD], night("2025-12-31", 8000), BERLIN)


def test_change_on_the_night_the_clock_goes_back():
    # 25 October 2026, Berlin: 20:00 to 04:00 lasts nine hours, four of them before midnight.
    start_at = datetime(2026, 10, 24, 18, tzinfo=UTC)
    long_night = [MeteredEnergy(start_at, start_at + timedelta(hours=9), 9000)]
    change = DatedTariff(3, date(2026, 10, 25), OLD.tariff)
    old, new = price_by_versions([OLD, change], long_night, BERLIN)
    assert (old.periods[0].energy_wh, new.periods[0].energy_wh) == (4000, 5000)


def test_blocks_go_on_from_what_the_month_had_used():
    # 250 kWh at 0.064, then 0.049 (City of Seymour's first two blocks): 40 of 60 kWh fit below.
    tariff = from_json(
        {
            "kind": "tiered",
            "time_zone": "Europe/Berlin",
            "tiers": [
                {"up_to_kwh": "250", "price_per_kwh": "0.064"},
                {"up_to_kwh": None, "price_per_kwh": "0.049"},
            ],
        }
    )
    version = DatedTariff(1, date(2026, 1, 1), tariff)
    (priced,) = price_by_versions(
        [version], night("2026-03-10", 60_000), BERLIN, {date(2026, 3, 1): 210_000}
    )
    assert [(row.name, row.energy_wh) for row in priced.periods] == [
        ("first 250 kWh", 40_000),
        ("above 250 kWh", 20_000),
    ]


def test_blocks_begin_anew_with_the_month():
    tariff = from_json(
        {
            "kind": "tiered",
            "time_zone": "Europe/Berlin",
            "tiers": [
                {"up_to_kwh": "10", "price_per_kwh": "0.1"},
                {"up_to_kwh": None, "price_per_kwh": "0.2"},
            ],
        }
    )
    version = DatedTariff(1, date(2026, 1, 1), tariff)
    (priced,) = price_by_versions(
        [version], night("2026-03-31", 40_000), BERLIN, {date(2026, 3, 1): 100_000}
    )
    # 20 kWh in March, all in the upper block; 20 in April, half of them in the lower.
    assert [row.energy_wh for row in priced.periods] == [10_000, 30_000]


@given(
    st.lists(st.tuples(st.integers(1, 40), st.integers(0, 90_000)), max_size=8),
    st.lists(st.integers(0, 200), max_size=4, unique=True),
)
def test_cutting_loses_nothing(uses, cuts):
    start_at = datetime(2026, 3, 28, 20, tzinfo=UTC)
    intervals, moment = [], start_at
    for hours, energy_wh in uses:
        intervals.append(MeteredEnergy(moment, moment + timedelta(hours=hours), energy_wh))
        moment += timedelta(hours=hours)
    edges = [start_at + timedelta(minutes=20 * cut) for cut in sorted(cuts)]
    parts = cut_at(intervals, edges)
    pieces = [piece for part in parts for piece in part]
    assert sum(piece.energy_wh for piece in pieces) == sum(use[1] for use in uses)
    length = sum(((p.end_at - p.start_at) for p in pieces), timedelta())
    assert length == moment - start_at
    for part, low, high in zip(parts, [None, *edges], [*edges, None], strict=True):
        assert all(low is None or piece.start_at >= low for piece in part)
        assert all(high is None or piece.end_at <= high for piece in part)


def test_moments_out_of_order_are_refused():
    with pytest.raises(ValueError, match="must be in order"):
        cut_at([], [datetime(2026, 4, 1, tzinfo=UTC), datetime(2026, 3, 1, tzinfo=UTC)])
