from __future__ import annotations

from datetime import date
from typing import Any

import pytest
from django.db import transaction

from billing.actions.policy import edit_billing_policy
from billing.actions.price_firing import post_firing_cost, reverse_firing_cost
from billing.actions.tariffs import add_tariff_version, tariff_on, withdraw_tariff_version
from billing.models import BillingPolicy, TariffVersion
from billing.refusals import BillingRefusal
from studio.models import TrailEntry
from studio.refusals import Denied
from tests.billing.conftest import Books
from tests.billing.scene import NOON, make_studio


def add(books: Books, **changes: Any) -> TariffVersion:
    wanted: dict[str, Any] = {
        "by": books.treasurer,
        "at": NOON,
        "name": "Town works",
        "valid_from": date(2026, 4, 1),
        "rates": {"kind": "flat", "price_per_kwh": "0.24"},
    }
    return add_tariff_version(**{**wanted, **changes})


def test_new_version_holds_from_its_day(books: Books) -> None:
    version = add(books)
    assert tariff_on(date(2026, 3, 31)) == books.tariff
    assert tariff_on(date(2026, 4, 1)) == version
    assert tariff_on(date(2025, 12, 31)) is None


@pytest.mark.parametrize(
    ("changes", "code", "field"),
    [
        ({"rates": {"kind": "flat", "price_per_kwh": "-1"}}, "tariff_unusable", "rates"),
        ({"rates": {"kind": "flat", "price_per_kwh": "a lot"}}, "tariff_unusable", "rates"),
        ({"rates": {"kind": "barter"}}, "tariff_unusable", "rates"),
        ({"name": " "}, "tariff_name", "name"),
        ({"valid_from": date(2026, 1, 1)}, "tariff_day_taken", "valid_from"),
        ({"valid_from": date(1, 1, 1)}, "tariff_day_impossible", "valid_from"),
        ({"valid_from": date(9999, 12, 31)}, "tariff_day_impossible", "valid_from"),
    ],
)
def test_unusable_version_is_refused(
    books: Books, changes: dict[str, Any], code: str, field: str
) -> None:
    with pytest.raises(BillingRefusal) as refusal:
        add(books, **changes)
    assert (refusal.value.code, refusal.value.field) == (code, field)
    assert TariffVersion.objects.count() == 1


def test_implausible_price_needs_confirming(books: Books) -> None:
    dear = {"kind": "flat", "price_per_kwh": "24"}
    with pytest.raises(BillingRefusal, match=r"above €5\.00") as refusal:
        add(books, rates=dear)
    assert refusal.value.field == "confirm"
    assert add(books, rates=dear, confirm=True).rates == dear


def test_what_is_implausible_follows_the_currency(books: Books) -> None:
    make_studio(currency="JPY")
    add(books, rates={"kind": "flat", "price_per_kwh": "31"})
    with pytest.raises(BillingRefusal, match="above ¥500"):
        add(books, valid_from=date(2026, 5, 1), rates={"kind": "flat", "price_per_kwh": "3100"})


def test_version_that_would_have_priced_a_firing_is_refused(books: Books) -> None:
    with transaction.atomic():
        cost = post_firing_cost(books.firing(), None, NOON)  # started on 10 March
    with pytest.raises(BillingRefusal, match="would have had the new one"):
        add(books, valid_from=date(2026, 3, 10))
    add(books, valid_from=date(2026, 3, 11))
    # Between two versions: the firing of the 10th keeps the older one.
    with pytest.raises(BillingRefusal, match="would have had the new one"):
        add(books, valid_from=date(2026, 3, 1))
    reverse_firing_cost(by=books.treasurer, at=NOON, cost=cost, reason="old tariff")
    add(books, valid_from=date(2026, 3, 1))


def test_unused_version_can_be_withdrawn(books: Books) -> None:
    version = add(books)
    withdraw_tariff_version(by=books.manager, at=NOON, version=version)
    assert list(TariffVersion.objects.all()) == [books.tariff]


def test_used_version_stays(books: Books) -> None:
    with transaction.atomic():
        post_firing_cost(books.firing(), None, NOON)
    with pytest.raises(BillingRefusal, match="and so stays"):
        withdraw_tariff_version(by=books.treasurer, at=NOON, version=books.tariff)


def test_members_do_not_set_tariffs(books: Books) -> None:
    with pytest.raises(Denied):
        add(books, by=books.ada)
    with pytest.raises(Denied):
        withdraw_tariff_version(by=books.ada, at=NOON, version=books.tariff)


POLICY = {
    "split_policy": "capacity",
    "consumables_per_firing_minor": 200,
    "handling_per_firing_minor": 0,
    "payment_days": 21,
    "how_to_pay": "By transfer.",
}


def test_policy_is_edited_and_the_trail_says_what_changed(books: Books) -> None:
    edit_billing_policy(by=books.treasurer, at=NOON, **POLICY)
    assert BillingPolicy.current().payment_days == 21
    changes = TrailEntry.objects.get(deed="edited").details["changes"]
    assert changes["split_policy"] == {"from": "used", "to": "capacity"}


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("split_policy", "fifty-fifty"),
        ("consumables_per_firing_minor", -1),
        ("handling_per_firing_minor", 1_000_001),
        ("payment_days", 0),
        ("payment_days", 121),
        ("how_to_pay", "x" * 1001),
        ("payee_name", "x" * 71),
        ("iban", "GB82TEST12345698765432"),  # published as invalid: the remainder is 5
        ("iban", "XX431234"),
        ("bic", "AGRIFRPP8"),
    ],
)
def test_policy_out_of_range_is_refused(books: Books, field: str, value: object) -> None:
    with pytest.raises(BillingRefusal) as refusal:
        edit_billing_policy(by=books.treasurer, at=NOON, **{**POLICY, field: value})
    assert refusal.value.field == field
    assert BillingPolicy.current().payment_days == 14


BANK = {"payee_name": "Ashbank Studio", "iban": "de89 3704 0044 0532 0130 00"}


def test_bank_details_are_kept_as_banks_write_them(books: Books) -> None:
    edit_billing_policy(by=books.manager, at=NOON, **POLICY, **BANK, bic="bhbldehh xxx")
    policy = BillingPolicy.current()
    assert (policy.iban, policy.bic) == ("DE89370400440532013000", "BHBLDEHHXXX")
    assert TrailEntry.objects.get(deed="edited").details["changes"]["iban"]["from"] == ""


@pytest.mark.parametrize(
    ("details", "field"),
    [
        ({"iban": BANK["iban"]}, "payee_name"),
        ({"payee_name": "Ashbank Studio", "bic": "BHBLDEHHXXX"}, "iban"),
    ],
)
def test_half_of_the_bank_details_is_refused(
    books: Books, details: dict[str, str], field: str
) -> None:
    with pytest.raises(BillingRefusal) as refusal:
        edit_billing_policy(by=books.treasurer, at=NOON, **POLICY, **details)
    assert refusal.value.field == field
    assert BillingPolicy.current().payment_days == 14


def test_members_do_not_edit_the_policy(books: Books) -> None:
    with pytest.raises(Denied):
        edit_billing_policy(by=books.ada, at=NOON, **POLICY)
