"""Bills, shared charges and the test bench by API: the same actions, and nobody's but their own."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
import time_machine
from rest_framework.test import APIClient

from billing.models import MonthCharges, MonthChargeShare, UtilityBill
from tests.billing.conftest import Books
from tests.billing.electricity_scene import APRIL_10, CHARGED, april, hot
from tests.billing.scene import AFTER_APRIL, fire_with_ware

API = "/api/v1"
BILL: dict[str, Any] = {
    "first_day": "2026-04-01",
    "last_day": "2026-04-30",
    "billed_on": "2026-05-01",
    "energy_wh": 300_000,
    "amount_minor": 21_000,
}


@pytest.fixture(autouse=True)
def on_2_may() -> Iterator[None]:
    with time_machine.travel(AFTER_APRIL, tick=False):
        yield


def test_bill_is_entered_paid_and_taken_back(books: Books, tess: APIClient) -> None:
    entered = tess.post(f"{API}/utility-bills/", BILL, format="json")
    assert entered.status_code == 201
    address = f"{API}/utility-bills/{entered.json()['id']}"
    assert entered.json()["is_paid"] is False
    paid = tess.post(f"{address}/pay/", {"paid_on": "2026-05-02"}, format="json")
    assert paid.json()["is_paid"] is True
    back = tess.post(f"{address}/reverse/", {"reason": "Not ours."}, format="json")
    assert back.json()["reversed_at"] is not None
    assert tess.get(f"{API}/utility-bills/recovery/").json() == []


@pytest.mark.parametrize(
    ("changes", "status", "code"),
    [
        ({"last_day": "2026-03-01"}, 422, "last_day_wrong"),
        ({"energy_kwh": 3}, 400, "invalid"),
        ({"amount_minor": 0}, 400, "invalid"),
    ],
)
def test_impossible_bill_is_refused(
    books: Books, tess: APIClient, changes: dict[str, Any], status: int, code: str
) -> None:
    answer = tess.post(f"{API}/utility-bills/", {**BILL, **changes}, format="json")
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert not UtilityBill.objects.exists()


def test_recovery_tells_the_difference(books: Books, tess: APIClient, mara: APIClient) -> None:
    april(books)
    tess.post(f"{API}/utility-bills/", BILL, format="json")
    (row,) = mara.get(f"{API}/utility-bills/recovery/").json()
    assert (row["firings_wh"], row["other_wh"]) == (10_500, 289_500)
    assert (row["members_minor"], row["other_minor"]) == (231, 20_769)
    assert row["bill"]["energy_wh"] == 300_000


def test_charges_are_previewed_shared_and_taken_back(books: Books, tess: APIClient) -> None:
    april(books)
    preview = tess.get(f"{API}/month-charges/preview/?month=2026-04-15").json()
    assert (preview["hindrance"], preview["total_minor"]) == (None, 14_850)
    assert [share["account"] for share in preview["shares"]] == [101, 102]
    shared = tess.post(f"{API}/month-charges/", {"month": "2026-04-30"}, format="json")
    assert shared.status_code == 201
    assert [line["amount_minor"] for line in shared.json()["lines"]] == [1650, 13_200]
    again = tess.post(f"{API}/month-charges/", {"month": "2026-04-30"}, format="json")
    assert (again.status_code, again.json()["code"]) == (409, "charges_shared")
    address = f"{API}/month-charges/{shared.json()['id']}/reverse/"
    assert tess.post(address, {"reason": "Again."}, format="json").json()["reversed_at"]
    assert MonthCharges.objects.get().reversed_at is not None


def test_member_reads_the_own_part_only(books: Books, tess: APIClient, ada: APIClient) -> None:
    april(books)
    tess.post(f"{API}/month-charges/", {"month": "2026-04-30"}, format="json")
    rows = ada.get(f"{API}/month-charge-shares/").json()["results"]
    assert [(row["account"], row["amount_minor"]) for row in rows] == [(101, 7425)]
    bens = MonthChargeShare.objects.get(account=books.ben_account)
    assert ada.get(f"{API}/month-charge-shares/{bens.pk}/").status_code == 404


@pytest.mark.parametrize(
    "name", ["utility-bills", "utility-bills/recovery", "month-charges", "month-charges/preview"]
)
def test_books_are_not_the_members(books: Books, ada: APIClient, name: str) -> None:
    assert ada.get(f"{API}/{name}/").status_code == 403
    assert APIClient().get(f"{API}/{name}/").status_code == 401


@pytest.mark.parametrize("name", ["utility-bills", "month-charges"])
def test_manager_reads_and_does_not_keep(books: Books, mara: APIClient, name: str) -> None:
    assert mara.get(f"{API}/{name}/").status_code == 200
    assert mara.post(f"{API}/{name}/", {}, format="json").status_code == 403


# --- The test bench -------------------------------------------------------------------------


def bench(client: APIClient, **sent: Any) -> Any:
    return client.post(f"{API}/tariffs/bench/", sent, format="json")


def test_firing_under_a_version_and_a_draft(books: Books, mara: APIClient) -> None:
    """2.5 kWh: at 0.21; at 0.20 with 4 kW at 10.00, both with 10 % tax: 0.525 and 44.55."""
    _, second = april(books)
    answer = bench(mara, firing=second.pk, tariffs=[books.tariff.pk], draft=CHARGED).json()
    assert [(row["tariff"], row["total_minor"]) for row in answer] == [
        (books.tariff.pk, 53),
        (None, 4455),
    ]
    assert answer[1]["lines"][1]["quantity"] == "4"


def test_month_under_a_draft_has_its_fixed_charges(books: Books, mara: APIClient) -> None:
    """10.5 kWh at 0.20, 12 kW at 10.00, 15.00 for the month: 137.10 and 10 % tax."""
    april(books)
    (row,) = bench(mara, month="2026-04-01", draft=CHARGED).json()
    assert row["total_minor"] == 15_081


def test_every_tariff_prices_the_same_energy_of_a_month(books: Books, mara: APIClient) -> None:
    """A firing over the end of April: the plain price, which needs no time zone, is cut too."""
    start_at = APRIL_10.replace(day=30, hour=21)  # 23:00 in Berlin
    fire_with_ware(
        books.kiln, [(books.ada, 10_000)], started_at=start_at, **hot(start_at, 1000, 1000, 5000)
    )
    answer = bench(mara, month="2026-04-01", tariffs=[books.tariff.pk], draft=CHARGED).json()
    assert [row["lines"][0]["quantity"] for row in answer] == ["2", "2"]


@pytest.mark.parametrize(
    ("sent", "code"),
    [
        ({"month": "2026-04-01"}, "invalid"),
        ({"draft": CHARGED}, "invalid"),
        ({"month": "2026-04-01", "draft": {"kind": "barter"}}, "tariff_unusable"),
    ],
)
def test_unclear_question_is_refused(
    books: Books, mara: APIClient, sent: dict[str, Any], code: str
) -> None:
    assert bench(mara, **sent).json()["code"] == code


def test_firing_whose_energy_is_not_known_is_refused(books: Books, mara: APIClient) -> None:
    firing = books.firing(energy_wh=None)
    answer = bench(mara, firing=firing.pk, tariffs=[books.tariff.pk])
    assert (answer.status_code, answer.json()["code"]) == (409, "energy_unknown")


def test_members_do_not_use_the_bench(books: Books, ada: APIClient) -> None:
    assert bench(ada, month="2026-04-01", draft=CHARGED).status_code == 403
