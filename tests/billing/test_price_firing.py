"""A firing's cost, to the cent, against sums done by hand in the comments."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction

from billing.actions.balances import balance_minor_of, ledger_balances_on
from billing.actions.price_firing import (
    post_firing_cost,
    reprice_firing,
    reverse_firing_cost,
)
from billing.models import BillingPolicy, FiringCost, JournalEntry, TariffVersion
from billing.refusals import BillingRefusal
from firings.calculations.firing_summary import HOT_CLASS_C
from firings.facts import firing_aborted, firing_closed
from firings.models import Firing, FiringState, KilnPart, LifeUnit, PartKind
from studio.refusals import Denied
from tests.billing.conftest import Books
from tests.billing.scene import MARCH, NOON, make_firing, put_ware


def close(firing: Firing, books: Books) -> FiringCost | None:
    """What `close_firing` announces."""
    with transaction.atomic():
        firing_closed.send(sender=Firing, firing=firing, by=books.manager, at=NOON)
    return FiringCost.objects.filter(firing=firing, reversed_at=None).first()


def amounts(cost: FiringCost) -> list[int]:
    return list(cost.shares.values_list("amount_minor", flat=True))


def balances() -> dict[str, int]:
    found = ledger_balances_on(date(2026, 12, 31))
    return {account.code: balance for account, balance in found if balance}


def test_closed_firing_is_split_by_charged_area(books: Books) -> None:
    # 42.3 kWh x 0.21 = 8.883 -> 8.88; relays 60.00 / 300 = 0.20; 1.50; 1.00: together 11.58.
    # 30, 50, 20 of 100: 3.474, 5.79, 2.316; floors leave 0.01 for the largest fraction, 0.6.
    cost = close(books.firing(), books)

    assert [line.amount_minor for line in cost.lines.all()] == [888, 20, 150, 100]
    assert (cost.pool_minor, cost.studio_minor) == (1158, 0)
    assert amounts(cost) == [347, 579, 232]
    assert balances() == {
        "1200.101": 579,
        "1200.102": 579,
        f"2200.{books.kiln.pk}": -20,
        "4000": -888,
        "4100": -250,
    }


def test_entry_is_dated_the_local_day_the_firing_started(books: Books) -> None:
    late = datetime(2026, 3, 31, 22, 30, tzinfo=ZoneInfo("UTC"))  # 1 April in Berlin
    assert close(books.firing(started_at=late), books).entry.on == date(2026, 4, 1)


def test_studio_carries_the_empty_area_by_capacity(books: Books) -> None:
    # usable 200,000 mm2: 11.58 x 30/200 = 1.737, 2.895, 1.158, studio 5.79.
    # floors 173 + 289 + 115 + 579 = 1156; the fractions .8 and .7 get the two left over.
    BillingPolicy.objects.update(split_policy="capacity")
    cost = close(books.firing(), books)

    assert (amounts(cost), cost.studio_minor) == ([174, 289, 116], 579)
    assert balances()["5000"] == 579


def test_time_of_use_energy_is_priced_by_local_hours(books: Books) -> None:
    """Ontario Energy Board RPP prices of 1 November 2022 (hydroottawa.com, opuc.on.ca): 5 kW from
    16:00 to 04:00 on a winter weekday is 1 h mid, 2 h on, 9 h off: 5 x 107 = 535.0 cents."""
    winter = [("07:00", "11:00", "on"), ("11:00", "17:00", "mid"), ("17:00", "19:00", "on")]
    weekdays = ["mon", "tue", "wed", "thu", "fri"]
    TariffVersion.objects.create(
        name="RPP",
        valid_from=date(2022, 11, 1),
        made_at=NOON,
        rates={
            "kind": "time_of_use",
            "time_zone": "America/Toronto",
            "periods": [
                {"name": "off", "price_per_kwh": "0.074"},
                {"name": "mid", "price_per_kwh": "0.102"},
                {"name": "on", "price_per_kwh": "0.151"},
            ],
            "default_period": "off",
            "seasons": [
                {
                    "name": "winter",
                    "first_day": "11-01",
                    "last_day": "04-30",
                    "rules": [
                        {"weekdays": weekdays, "from": start, "to": end, "period": period}
                        for start, end, period in winter
                    ],
                },
                {"name": "summer", "first_day": "05-01", "last_day": "10-31", "rules": []},
            ],
        },
    )
    start = datetime(2023, 1, 10, 16, tzinfo=ZoneInfo("America/Toronto"))
    hours = [start + timedelta(hours=hour) for hour in range(13)]
    profile = [[a.isoformat(), b.isoformat(), 5000] for a, b in pairwise(hours)]
    firing = books.firing(started_at=start, energy_wh=60_000, energy_working={"profile": profile})

    line = close(firing, books).lines.get(kind="energy")
    assert line.amount_minor == 535
    assert [period["energy_wh"] for period in line.working["periods"]] == [45_000, 5_000, 10_000]


def test_element_wear_counts_weighted_hours_and_stops_at_its_cost(books: Books) -> None:
    # One hour in the band whose middle is 1200 C, where the weight is 1
    # (Kanthal, Appliance Alloys Handbook, table 1: 1200 C = 100): 40.00 / 500 h = 0.08.
    KilnPart.objects.create(
        kiln=books.kiln,
        kind=PartKind.ELEMENT,
        name="Elements",
        replacement_cost_minor=4_000,
        life_unit=LifeUnit.WEIGHTED_HOURS,
        expected_life=500,
        fitted_on=date(2025, 1, 1),
    )
    spent = KilnPart.objects.get(name="Relays")
    spent.replacement_cost_minor = 30
    spent.expected_life = 1
    spent.save()
    hot = {"hot_seconds": {str(1200 - HOT_CLASS_C // 2): 3600}}
    first = close(books.firing(log_summary=hot), books)
    second = close(books.firing(log_summary=hot), books)

    assert list(first.lines.filter(kind="wear").values_list("amount_minor", flat=True)) == [8, 30]
    assert list(second.lines.filter(kind="wear").values_list("amount_minor", flat=True)) == [8, 0]


@pytest.mark.parametrize(
    ("fields", "code", "reason"),
    [
        ({"is_kiln_fault": True}, "5100", "the kiln itself spoiled the firing"),
        ({"is_empty_first_firing": True}, "5050", "an empty first firing"),
    ],
)
def test_studio_carries_faults_and_first_firings(
    books: Books, fields: dict[str, bool], code: str, reason: str
) -> None:
    cost = close(books.firing(**fields), books)
    assert (cost.studio_minor, cost.studio_reason) == (1158, reason)
    assert amounts(cost) == [0, 0, 0]
    assert balances()[code] == 1158
    assert reason in cost.shares.first().working["sentences"][-1]


def test_studio_carries_a_firing_without_ware(books: Books) -> None:
    firing = make_firing(books.kiln)
    put_ware(firing, books.ada, 1000, state="placed")
    assert close(firing, books).studio_minor == 1158
    assert balances()["5050"] == 1158


def test_working_can_be_followed_to_the_cent(books: Books) -> None:
    share = close(books.firing(), books).shares.first()
    spaced = [sentence.replace("\xa0", " ") for sentence in share.working["sentences"]]
    assert spaced == [
        "Electricity: 42.3 kWh, read from the electricity meter. By the tariff Town works from "
        "1 January 2026: 42.3 kWh in “all hours” at 0.21 EUR for a kWh = 8.883 EUR. "
        "Together, rounded once: €8.88.",
        "Relays: replacing costs €60.00 and is due after 300 firings; used 1 firing, so €0.20.",
        "Consumables: €1.50 for each firing, as the studio has set.",
        "Handling: €1.00 for each firing, as the studio has set.",
        "The whole firing cost €11.58: electricity €8.88, wear of Relays €0.20, "
        "consumables €1.50, handling €1.00.",
        "This ware took 300.00 cm² of the 1,000.00 cm² charged in this firing (30.0 %): "
        "€11.58 × 300.00 cm² ÷ 1,000.00 cm² = 3.4740, charged €3.47: the fraction is dropped.",
    ]


def test_working_shows_energy_and_cost_to_their_last_digit(books: Books) -> None:
    """42.349 kWh at 0.21 are 8.89329: from 42.3 kWh a calculator would say 8.88."""
    cost = close(books.firing(energy_wh=42_349), books)
    sentence = cost.lines.get(kind="energy").working["sentence"].replace("\xa0", " ")
    assert "42.349 kWh in “all hours” at 0.21 EUR for a kWh = 8.89329 EUR." in sentence
    assert "rounded once: €8.89." in sentence


def test_closing_without_a_tariff_is_refused_and_says_who_acts(books: Books) -> None:
    TariffVersion.objects.all().delete()
    with pytest.raises(BillingRefusal, match="The treasurer must enter one") as refusal:
        close(books.firing(), books)
    assert refusal.value.code == "tariff_missing"
    assert not FiringCost.objects.exists()


def test_closing_without_known_energy_is_refused(books: Books) -> None:
    with pytest.raises(BillingRefusal, match="Enter the meter's registers"):
        close(books.firing(energy_wh=None), books)


def test_firing_is_posted_once(books: Books) -> None:
    firing = books.firing()
    close(firing, books)
    with pytest.raises(BillingRefusal, match="posted already"):
        close(firing, books)
    assert JournalEntry.objects.count() == 1


def test_posting_outside_a_transaction_is_a_mistake(committed_books: Books) -> None:
    with pytest.raises(transaction.TransactionManagementError):
        post_firing_cost(committed_books.firing(), None, NOON)


@pytest.mark.parametrize(("energy_wh", "posted"), [(10_000, 210), (0, 0), (None, 0)])
def test_studio_carries_what_a_broken_off_firing_used(
    books: Books, energy_wh: int | None, posted: int
) -> None:
    BillingPolicy.objects.update(consumables_per_firing_minor=0, handling_per_firing_minor=0)
    KilnPart.objects.all().delete()
    firing = make_firing(books.kiln, energy_wh=energy_wh, state=FiringState.ABORTED)
    firing_aborted.send(sender=Firing, firing=firing, by=books.manager, at=NOON)
    assert balances().get("5100", 0) == posted


def test_breaking_off_is_never_refused_for_want_of_a_tariff(books: Books) -> None:
    TariffVersion.objects.all().delete()
    firing = make_firing(books.kiln, state=FiringState.ABORTED)
    firing_aborted.send(sender=Firing, firing=firing, by=books.manager, at=NOON)
    assert not FiringCost.objects.exists()


def test_reversed_cost_can_be_priced_again(books: Books) -> None:
    firing = books.firing()
    cost = close(firing, books)
    reverse_firing_cost(by=books.treasurer, at=NOON, cost=cost, reason="meter misread")
    assert balances() == {}

    firing.energy_wh = 40_000  # 8.40 + 2.70 = 11.10: 3.33, 5.55, 2.22
    firing.save()
    again = reprice_firing(by=books.treasurer, at=NOON, firing=firing)
    assert amounts(again) == [333, 555, 222]
    assert balance_minor_of(books.ada_account, MARCH.replace(day=31)) == 555


def test_reversal_needs_a_reason_and_happens_once(books: Books) -> None:
    cost = close(books.firing(), books)
    with pytest.raises(BillingRefusal, match="Say why"):
        reverse_firing_cost(by=books.treasurer, at=NOON, cost=cost, reason="  ")
    reverse_firing_cost(by=books.treasurer, at=NOON, cost=cost, reason="meter misread")
    with pytest.raises(BillingRefusal, match="reversed already"):
        reverse_firing_cost(by=books.treasurer, at=NOON, cost=cost, reason="again")


def test_pricing_again_waits_for_the_firing_to_be_over(books: Books) -> None:
    firing = make_firing(books.kiln, state=FiringState.COOLING)
    with pytest.raises(BillingRefusal, match="not closed yet"):
        reprice_firing(by=books.treasurer, at=NOON, firing=firing)


def test_only_the_treasurer_reverses(books: Books) -> None:
    cost = close(books.firing(), books)
    with pytest.raises(Denied):
        reverse_firing_cost(by=books.ada, at=NOON, cost=cost, reason="too dear")
    with pytest.raises(Denied):
        reprice_firing(by=books.ada, at=NOON, firing=cost.firing)
