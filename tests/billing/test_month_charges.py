"""Fixed and demand charges of a month: shared by the stated rule, once, readable, reversible."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.actions.balances import balance_minor_of, trial_balance_on
from billing.actions.close_month import close_month, preview_close
from billing.actions.ledger import reverse_entry
from billing.actions.preview_month_charges import preview_month_charges
from billing.actions.share_month_charges import reverse_month_charges, share_month_charges
from billing.actions.tariffs import add_tariff_version, withdraw_tariff_version
from billing.calculations.month_sharing import (
    FAULTS,
    WITHOUT_WARE,
    SharingFiring,
    share_by_area,
    share_by_peak,
)
from billing.models import (
    JournalEntry,
    MonthCharges,
    MonthChargeShare,
    Posting,
    Statement,
    TariffVersion,
)
from billing.refusals import BillingRefusal
from studio.models import TrailEntry
from studio.refusals import Denied
from tests.billing.conftest import Books
from tests.billing.electricity_scene import APRIL_10, april, charged_tariff, hot, price
from tests.billing.scene import (
    AFTER_APRIL,
    AFTER_MARCH,
    APRIL,
    MARCH,
    NOON,
    fire_with_ware,
    make_firing,
)

LAST_OF_APRIL = date(2026, 4, 30)

# --- The rule, by hand ----------------------------------------------------------------------


def amounts(carried: dict) -> dict[int, int]:
    return {party: part.amount_minor for party, part in carried.items()}


def test_fixed_charge_goes_by_area_over_all_firings() -> None:
    # 10.00 over 3 : 5 : 2 of area, the 2 in a firing that the kiln spoiled.
    firings = [
        SharingFiring(1, {101: 30, 102: 50}),
        SharingFiring(2, {101: 20}, is_fault=True),
    ]
    assert amounts(share_by_area(1000, firings)) == {101: 300, 102: 500, FAULTS: 200}


def test_demand_goes_by_energy_in_the_window_and_then_by_area() -> None:
    # 6 kWh in the window, 4 of firing 1 and 2 of firing 2: 132.00 falls 88 : 44, then 66 : 22.
    firings = [SharingFiring(1, {101: 300, 102: 100}), SharingFiring(2, {102: 200})]
    carried = share_by_peak(13200, {1: 4000, 2: 2000}, firings)
    assert amounts(carried) == {101: 6600, 102: 2200 + 4400}


def test_empty_firing_in_the_window_is_the_studios() -> None:
    firings = [SharingFiring(1, {101: 1}), SharingFiring(2, {}, is_without_ware=True)]
    carried = share_by_peak(900, {1: 1000, 2: 2000}, firings)
    assert amounts(carried) == {101: 300, WITHOUT_WARE: 600}


def test_month_without_ware_is_the_studios() -> None:
    assert amounts(share_by_area(1500, [])) == {WITHOUT_WARE: 1500}
    assert amounts(share_by_peak(0, {}, [])) == {WITHOUT_WARE: 0}


areas = st.dictionaries(st.integers(100, 120), st.integers(1, 300_000), max_size=6)


@given(
    st.integers(0, 10**7),
    st.lists(st.tuples(areas, st.booleans(), st.integers(0, 9000)), max_size=6),
)
def test_every_charge_sums_exactly_and_keeps_to_its_quota(
    amount_minor: int, month: list[tuple[dict[int, int], bool, int]]
) -> None:
    firings = [
        SharingFiring(key, area_mm2_of, is_fault=is_fault)
        for key, (area_mm2_of, is_fault, _) in enumerate(month)
    ]
    energy_wh_of = {key: energy_wh for key, (_, _, energy_wh) in enumerate(month)}
    for carried in (
        share_by_area(amount_minor, firings),
        share_by_peak(amount_minor, energy_wh_of, firings),
    ):
        assert sum(part.amount_minor for part in carried.values()) == amount_minor
        assert sum(part.exact_minor for part in carried.values()) == amount_minor
        assert all(abs(part.amount_minor - part.exact_minor) < 1 for part in carried.values())


# --- The deed -------------------------------------------------------------------------------


def share(books: Books, month: date = APRIL) -> MonthCharges:
    return share_month_charges(by=books.treasurer, at=AFTER_APRIL, month=month)


def test_april_by_hand(books: Books) -> None:
    """15.00 and 12 kW at 10.00, each with 10 % tax: 16.50 and 132.00.

    The fixed charge goes 300 : 300 of 600 cm2: 8.25 each. The demand goes 4 : 2 over the two
    firings: 88.00, of which Ada 3/4 = 66.00 and Ben 22.00, and 44.00 that are Ben's.
    """
    april(books)
    charges = share(books)
    assert [(line.kind, line.amount_minor) for line in charges.lines.all()] == [
        ("fixed", 1650),
        ("demand", 13200),
    ]
    shares = {row.account.number: row.amount_minor for row in charges.shares.all()}
    assert shares == {101: 825 + 6600, 102: 825 + 6600}
    assert (charges.total_minor, charges.studio_minor) == (14850, 0)
    assert charges.entry.on == LAST_OF_APRIL
    assert charges.lines.get(kind="demand").working["peak_at"] == "2026-04-10T08:30:00+00:00"
    postings = dict(charges.entry.postings.values_list("account__code", "amount_minor"))
    assert postings == {"1200.101": 7425, "1200.102": 7425, "4000": -14850}
    assert trial_balance_on(LAST_OF_APRIL)[0].is_balanced


def test_working_can_be_followed_with_a_calculator(books: Books) -> None:
    april(books)
    fixed, own, demand, by_peak = MonthChargeShare.objects.get(
        charges=share(books), account=books.ada_account
    ).working["sentences"]
    assert fixed == (
        "Fixed charges: 1 month × 15 = 15 EUR, and VAT 10\u00a0% of it = 1.5 EUR; "
        "rounded once: €16.50."
    )
    assert own.startswith("Your ware took 300.00\u00a0cm² of the 600.00\u00a0cm²")
    assert own.endswith("÷ 600.00\u00a0cm² = €8.25.")
    assert "was 12\u00a0kW, from 10 April 2026, 10:30 on. 12 × 10 = 120 EUR" in demand
    assert "all kilns used 6000\u00a0Wh" in by_peak
    assert by_peak.endswith("€132.00 × (4000 × 300.00\u00a0cm² ÷ 400.00\u00a0cm²) ÷ 6000 = €66.00.")


def test_fault_and_empty_firing_are_the_studios_part(books: Books) -> None:
    charged_tariff()
    spoiled = fire_with_ware(
        books.kiln,
        [(books.ada, 10_000)],
        started_at=APRIL_10,
        is_kiln_fault=True,
        **hot(APRIL_10, 1000),
    )
    empty = make_firing(
        books.kiln, started_at=APRIL_10, is_empty_first_firing=True, **hot(APRIL_10, 2000)
    )
    good = fire_with_ware(
        books.kiln, [(books.ben, 30_000)], started_at=APRIL_10, **hot(APRIL_10, 3000)
    )
    for firing in (spoiled, empty, good):
        price(firing, books)
    charges = share(books)
    # Fixed 16.50 by area 1 : 3, half a cent each over: the studio's. Demand 132.00 by 1 : 2 : 3.
    assert charges.shares.get().amount_minor == 1237 + 6600
    assert [part["amount_minor"] for part in charges.studio_parts] == [413 + 2200, 4400]
    postings = dict(charges.entry.postings.values_list("account__code", "amount_minor"))
    assert (postings["5100"], postings["5050"]) == (2613, 4400)


def test_month_without_firings_is_carried_by_the_studio(books: Books) -> None:
    charged_tariff()
    charges = share(books)
    assert (charges.total_minor, charges.studio_minor) == (1650, 1650)
    assert not charges.shares.exists()


def test_tariff_that_begins_in_the_month_charges_its_days(books: Books) -> None:
    charged_tariff(date(2026, 4, 21))  # 10 of 30 days: 5.00 and 10 % tax
    assert share(books).total_minor == 550


def test_shared_once(books: Books) -> None:
    april(books)
    share(books)
    with pytest.raises(BillingRefusal, match="shared already") as refusal:
        share(books)
    assert refusal.value.code == "charges_shared"
    assert MonthCharges.objects.count() == 1


@pytest.mark.parametrize(
    ("month", "code"), [(date(2026, 5, 1), "month_not_over"), (MARCH, "no_charges")]
)
def test_refused_months(books: Books, month: date, code: str) -> None:
    charged_tariff()
    with pytest.raises(BillingRefusal) as refusal:
        share(books, month)
    assert refusal.value.code == code
    assert not MonthCharges.objects.exists()


def test_only_the_treasurer_shares_and_takes_back(books: Books) -> None:
    april(books)
    with pytest.raises(Denied):
        share_month_charges(by=books.manager, at=AFTER_APRIL, month=APRIL)
    charges = share(books)
    with pytest.raises(Denied):
        reverse_month_charges(by=books.manager, at=AFTER_APRIL, charges=charges, reason="no")


def test_taken_back_and_shared_again(books: Books) -> None:
    april(books)
    before = balance_minor_of(books.ada_account, LAST_OF_APRIL)
    charges = share(books)
    reverse_month_charges(
        by=books.treasurer, at=AFTER_APRIL, charges=charges, reason="A firing was missing."
    )
    assert balance_minor_of(books.ada_account, AFTER_APRIL.date()) == before
    assert TrailEntry.objects.filter(deed="reversed").get().why == "A firing was missing."
    again = share(books)
    assert again.entry.source == "charges:2026-04:2"
    with pytest.raises(BillingRefusal, match="taken back already"):
        reverse_month_charges(by=books.treasurer, at=AFTER_APRIL, charges=charges, reason="twice")


def test_its_entry_is_not_reversed_by_itself(books: Books) -> None:
    april(books)
    with pytest.raises(BillingRefusal) as refusal:
        reverse_entry(by=books.treasurer, at=AFTER_APRIL, entry=share(books).entry, reason="no")
    assert refusal.value.code == "entry_is_month_charges"


def test_firing_over_the_end_of_the_month_counts_where_it_was_hot(books: Books) -> None:
    charged_tariff()
    start_at = APRIL_10.replace(day=30, hour=21)  # 23:00 in Berlin
    firing = fire_with_ware(
        books.kiln,
        [(books.ada, 10_000)],
        started_at=start_at,
        **hot(start_at, 1000, 1000, 5000, 5000),
    )
    price(firing, books)
    preview = preview_month_charges(APRIL, AFTER_APRIL)
    demand = preview.lines[-1]
    assert demand.working["peak_kw"] == "2"
    may = preview_month_charges(date(2026, 5, 1), AFTER_APRIL)
    assert may.lines[-1].working["peak_kw"] == "10"
    # The fixed charge of May has no firing of May: the studio's.
    assert may.lines[0].carried.keys() == {WITHOUT_WARE}


def test_firings_without_a_cost_are_named(books: Books) -> None:
    april(books)
    late = make_firing(books.kiln, started_at=APRIL_10 + timedelta(days=3))
    assert preview_month_charges(APRIL, AFTER_APRIL).firings_unpriced == [late]


def test_close_says_that_charges_are_not_shared(books: Books) -> None:
    april(books)
    assert not preview_close(MARCH, AFTER_APRIL).charges_not_shared
    assert preview_close(APRIL, AFTER_APRIL).charges_not_shared
    share(books)
    assert not preview_close(APRIL, AFTER_APRIL).charges_not_shared


def test_month_before_the_first_tariff_has_no_charges(books: Books) -> None:
    assert not preview_close(date(2025, 6, 1), AFTER_APRIL).charges_not_shared


def test_statement_shows_the_working(books: Books) -> None:
    april(books)
    charges = share(books)
    close_month(by=books.treasurer, at=AFTER_APRIL, month=APRIL)
    statement = Statement.objects.get(account=books.ada_account)
    (line,) = [line for line in statement.content["lines"] if line["source"].startswith("charges")]
    assert (line["kind"], line["amount_minor"]) == ("charge", 7425)
    assert line["text"] == "Electricity charges of April 2026"
    assert line["working"] == charges.shares.get(account=books.ada_account).working["sentences"]


def test_after_the_close_it_goes_into_the_next_month(books: Books) -> None:
    april(books)
    close_month(by=books.treasurer, at=AFTER_APRIL, month=APRIL)
    assert share(books).entry.on == date(2026, 5, 1)


def test_tariff_of_shared_charges_stays(books: Books) -> None:
    april(books)
    share(books)
    version = TariffVersion.objects.get(valid_from=APRIL)
    with pytest.raises(BillingRefusal, match="and so stays"):
        withdraw_tariff_version(by=books.treasurer, at=AFTER_APRIL, version=version)
    with pytest.raises(BillingRefusal) as refusal:
        add_tariff_version(
            by=books.treasurer,
            at=AFTER_APRIL,
            name="Later",
            valid_from=date(2026, 4, 28),
            rates={"kind": "flat", "price_per_kwh": "0.2"},
        )
    assert refusal.value.code == "tariff_month_shared"


def test_version_used_by_charges_alone_stays(books: Books) -> None:
    version = charged_tariff()
    share(books)
    with pytest.raises(BillingRefusal, match="priced charges of April 2026"):
        withdraw_tariff_version(by=books.treasurer, at=AFTER_APRIL, version=version)


# --- A firing that spans a change of tariff --------------------------------------------------


def test_firing_over_a_change_has_both_prices(books: Books) -> None:
    """23:00 to 01:00 in Berlin, 2 kWh before midnight at 0.21, 3 after at 0.20 with 10 % tax."""
    version = charged_tariff()
    start_at = AFTER_MARCH.replace(month=3, day=31, hour=21, minute=0)
    firing = fire_with_ware(
        books.kiln,
        [(books.ada, 10_000)],
        started_at=start_at,
        **hot(start_at, 1000, 1000, 1000, 2000),
    )
    cost = price(firing, books)
    line = cost.lines.get(kind="energy")
    assert line.amount_minor == 42 + 66
    assert [row["name"] for row in line.working["periods"]] == [
        "all hours, from 1 January 2026",
        "all hours, from 1 April 2026",
    ]
    assert line.working["tariff_ids"] == [books.tariff.pk, version.pk]
    assert "VAT 10\u00a0% of 0.6 EUR = 0.06 EUR" in line.working["sentence"]
    with pytest.raises(BillingRefusal, match="and so stays"):
        withdraw_tariff_version(by=books.treasurer, at=AFTER_APRIL, version=version)


def test_version_that_would_have_priced_the_end_of_a_firing_is_refused(books: Books) -> None:
    firing = books.firing(started_at=NOON.replace(hour=20))  # until 5 in the morning of the 11th
    price(firing, books)
    with pytest.raises(BillingRefusal) as refusal:
        add_tariff_version(
            by=books.treasurer,
            at=AFTER_APRIL,
            name="Later",
            valid_from=date(2026, 3, 11),
            rates={"kind": "flat", "price_per_kwh": "0.2"},
        )
    assert refusal.value.code == "tariff_day_used"


def test_blocks_fill_with_what_was_priced_before(books: Books) -> None:
    TariffVersion.objects.create(
        name="Blocks",
        valid_from=APRIL,
        rates={
            "kind": "tiered",
            "format": 2,
            "time_zone": "Europe/Berlin",
            "tiers": [
                {"up_to_kwh": "50", "price_per_kwh": "0.10"},
                {"up_to_kwh": None, "price_per_kwh": "0.20"},
            ],
        },
        made_at=NOON,
    )
    first, second = (
        fire_with_ware(books.kiln, [(books.ada, 10_000)], started_at=APRIL_10, energy_wh=energy_wh)
        for energy_wh in (40_000, 30_000)
    )
    assert price(first, books).lines.get(kind="energy").amount_minor == 400
    line = price(second, books).lines.get(kind="energy")
    assert line.amount_minor == 100 + 400
    assert line.working["used_before_wh"] == {"2026-04-01": 40_000}
    assert "had used 40\u00a0kWh of April 2026" in line.working["sentence"]


def test_nothing_is_half_posted_when_refused(books: Books) -> None:
    april(books)
    share(books)
    count = (JournalEntry.objects.count(), Posting.objects.count())
    with pytest.raises(BillingRefusal):
        share(books)
    assert (JournalEntry.objects.count(), Posting.objects.count()) == count
