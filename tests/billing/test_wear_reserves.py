"""Consumables, parts estimated anew, what a replacement teaches, and how reserves stand."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal
from typing import Any

import pytest
from django.db import transaction

from billing.actions.consumable_lines import add_consumable, edit_consumable
from billing.actions.life_estimates import estimate_part_anew, units_used
from billing.actions.price_firing import post_firing_cost, reverse_firing_cost
from billing.actions.reserves import reserve_months, reserves_on
from billing.models import BillingPolicy, Consumable, CostLine, FiringCost
from billing.refusals import BillingRefusal
from firings.actions.kilns import replace_part
from firings.calculations.firing_summary import HOT_CLASS_C
from firings.models import Firing, KilnPart, LifeUnit, PartKind
from studio.refusals import Denied
from tests.billing.conftest import Books
from tests.billing.scene import NOON

TODAY = NOON.date()


def priced(books: Books, firing: Firing | None = None) -> FiringCost:
    with transaction.atomic():
        return post_firing_cost(firing or books.firing(), books.manager, NOON)


def relays() -> KilnPart:
    return KilnPart.objects.get(name="Relays", retired_on=None)


def wear_minor(cost: FiringCost) -> int:
    return cost.lines.get(kind="wear").amount_minor


# --- Consumables ----------------------------------------------------------------------------


def add(books: Books, **changes: Any) -> Consumable:
    wanted = {"name": "Witness cones", "price_minor": 90, "per": "layer", **changes}
    return add_consumable(by=books.treasurer, at=NOON, **wanted)


@pytest.mark.parametrize(
    ("per", "amount", "counted"),
    [
        ("firing", 90, "€0.90 × 1 firing"),
        ("layer", 90, "€0.90 × 1 layer"),
        ("booking", 270, "€0.90 × 3 slips"),
        ("area", 90, "€0.90 × 1000.00 cm² ÷ 1000 cm²"),
    ],
)
def test_consumable_is_counted_by_what_it_says(
    books: Books, per: str, amount: int, counted: str
) -> None:
    add(books, per=per)
    line = priced(books).lines.get(text="Witness cones")
    assert line.amount_minor == amount
    assert counted in line.working["sentence"]


def test_price_that_changes_leaves_what_was_charged(books: Books) -> None:
    made = add(books)
    first = priced(books)
    edit = {"by": books.treasurer, "at": NOON, "consumable": made, "name": "Cones", "per": "layer"}
    edit_consumable(**edit, price_minor=200, is_used=True)
    second = priced(books)
    edit_consumable(**edit, price_minor=200, is_used=False)
    third = priced(books)
    found = [
        list(cost.lines.filter(working__per="layer").values_list("amount_minor", flat=True))
        for cost in (first, second, third)
    ]
    assert found == [[90], [200], []]


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"name": ""}, "consumable_name_wrong"),
        ({"name": "witness CONES"}, "consumable_name_wrong"),
        ({"name": "Wash", "price_minor": 0}, "consumable_price_minor_wrong"),
        ({"name": "Wash", "per": "moon"}, "consumable_per_wrong"),
    ],
)
def test_consumable_that_cannot_be_is_refused(
    books: Books, changes: dict[str, Any], code: str
) -> None:
    add(books)
    with pytest.raises(BillingRefusal) as refusal:
        add(books, **changes)
    assert refusal.value.code == code
    with pytest.raises(Denied):
        add_consumable(by=books.ada, at=NOON, name="x", price_minor=1, per="firing")


# --- Estimated anew: relays of 60.00 for 300 firings, 0.20 a firing -------------------------


def estimate(books: Books, **changes: Any) -> None:
    wanted = {
        "part": relays(),
        "replacement_cost_minor": 6_000,
        "expected_life": Decimal(300),
        "reason": "they look worn",
        **changes,
    }
    estimate_part_anew(by=books.treasurer, at=NOON, **wanted)


def test_estimate_anew_is_prospective(books: Books) -> None:
    """IAS 16 paragraph 51. After 2 firings 0.40 are charged; 59.60 over 102 - 2 firings = 0.596."""
    first = priced(books)
    assert (wear_minor(first), wear_minor(priced(books))) == (20, 20)
    estimate(books, expected_life=Decimal(102))
    third = priced(books)
    assert wear_minor(third) == 60
    assert wear_minor(first) == 20
    line = third.lines.get(kind="wear")
    assert (line.working["spread_minor"], line.working["spread_units"]) == (5960, "100.0000")
    sentence = line.working["sentence"].replace("\xa0", " ")
    assert "when that was last estimated, €59.60 were left to save and 100 of its life" in sentence


def test_dearer_replacement_is_saved_over_the_life_that_is_left(books: Books) -> None:
    priced(books)
    estimate(books, replacement_cost_minor=12_000)  # 119.80 over 299 firings: 0.4007
    assert wear_minor(priced(books)) == 40
    assert relays().replacement_cost_minor == 12_000


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"expected_life": Decimal(1)}, "life_used_up"),
        ({"expected_life": Decimal(0)}, "absurd_life"),
        ({"replacement_cost_minor": -1}, "absurd_cost"),
        ({"reason": ""}, "reason_missing"),
    ],
)
def test_estimate_that_cannot_be_is_refused(
    books: Books, changes: dict[str, Any], code: str
) -> None:
    priced(books)
    with pytest.raises(BillingRefusal) as refusal:
        estimate(books, **changes)
    assert refusal.value.code == code


def test_replaced_part_is_not_estimated(books: Books) -> None:
    old = relays()
    replace_part(by=books.manager, at=NOON, part=old)
    with pytest.raises(BillingRefusal, match="was replaced on"):
        estimate(books, part=old)
    with pytest.raises(Denied):
        estimate_part_anew(
            by=books.ada, at=NOON, part=relays(), replacement_cost_minor=1,
            expected_life=Decimal(1), reason="x",
        )  # fmt: skip


# --- A replacement teaches ------------------------------------------------------------------


def test_new_part_is_expected_to_last_as_its_forerunners_did(books: Books) -> None:
    """300 expected, 2 seen: 151; then 4 seen as well: (300 + 2 + 4) / 3 = 102."""
    charged = [wear_minor(priced(books)) for _ in range(2)]
    second = replace_part(by=books.manager, at=NOON, part=relays())
    second.refresh_from_db()
    assert second.expected_life == 151
    # fitted today, so the part counts for firings that start today; 60.00 / 151 = 0.397
    assert [wear_minor(priced(books)) for _ in range(4)] == [40, 40, 40, 40]
    third = replace_part(by=books.manager, at=NOON + timedelta(days=1), part=second)
    third.refresh_from_db()
    assert third.expected_life == 102
    assert charged == [20, 20]


def test_part_that_no_firing_used_teaches_nothing(books: Books) -> None:
    fitted = replace_part(by=books.manager, at=NOON, part=relays())
    fitted.refresh_from_db()
    assert fitted.expected_life == 300


def test_what_a_person_estimated_stands_for_all_before(books: Books) -> None:
    for _ in range(2):
        priced(books)
    second = replace_part(by=books.manager, at=NOON, part=relays())  # 151, of two lives
    priced(books)
    estimate(books, part=second, expected_life=Decimal(99))
    third = replace_part(by=books.manager, at=NOON, part=second)
    third.refresh_from_db()
    assert third.expected_life == 50  # (99 + 1) / 2, not (99 x 2 + 1) / 3


def test_alloy_stays_with_the_new_part_and_weighs_its_hours(books: Books) -> None:
    """An hour at 1200 C takes 100/120 of an hour of A-1 from AF wire (Kanthal, Appliance Alloys
    Handbook, table 1): 40.00 x 0.83 / 500 = 0.067. The middle of the class is half a degree up."""
    made = KilnPart.objects.create(
        kiln=books.kiln,
        kind=PartKind.ELEMENT,
        name="Elements",
        replacement_cost_minor=4_000,
        life_unit=LifeUnit.WEIGHTED_HOURS,
        expected_life=500,
        alloy="af",
        fitted_on=date(2025, 1, 1),
    )
    hot = {"hot_seconds": {str(1200 - HOT_CLASS_C // 2): 3600}}
    line = priced(books, books.firing(log_summary=hot)).lines.get(part=made)
    assert line.amount_minor == 7
    assert abs(Decimal(line.working["units"]) - Decimal(100) / 120) < Decimal("0.01")
    assert replace_part(by=books.manager, at=NOON, part=made).alloy == "af"


# --- How reserves stand ---------------------------------------------------------------------


def test_reserve_is_funded_by_what_its_parts_have_used(books: Books) -> None:
    """After 3 firings: 0.60 of 60.00 x 3 / 300 = 0.60 (component method): 100 %."""
    for _ in range(3):
        priced(books)
    reserve = reserves_on(TODAY)[0]
    assert (reserve.balance_minor, reserve.fully_funded_minor, reserve.percent_funded) == (
        60,
        60,
        100,
    )
    row = reserve.parts[0]
    assert (row.charged_minor, row.used, row.left, row.percent_used) == (60, 3, 297, 1)
    # 433 days since it was fitted, 3 firings: 297 more take 42,867 days, too far off to tell
    assert row.due_on is None


def test_next_replacement_at_the_pace_so_far(books: Books) -> None:
    KilnPart.objects.update(expected_life=4, fitted_on=TODAY - timedelta(days=90))
    for _ in range(3):
        priced(books)
    assert reserves_on(TODAY)[0].parts[0].due_on == TODAY + timedelta(days=30)


def test_dearer_part_is_less_well_funded(books: Books) -> None:
    for _ in range(3):
        priced(books)
    estimate(books, replacement_cost_minor=12_000)
    assert reserves_on(TODAY)[0].percent_funded == 50


def test_reserve_of_a_part_that_no_firing_used_has_no_percentage(books: Books) -> None:
    assert reserves_on(TODAY)[0].percent_funded is None


def test_used_life_is_exact_to_its_last_digit(books: Books) -> None:
    """Lives are decimals; on SQLite a plain key of JSON would come back as a float."""
    KilnPart.objects.update(life_unit=LifeUnit.WEIGHTED_HOURS, kind=PartKind.ELEMENT)
    hot = {"hot_seconds": {str(1200 - HOT_CLASS_C // 2): 2520}}
    for _ in range(2):
        cost = priced(books, books.firing(log_summary=hot))
    once = Decimal(cost.lines.get(kind="wear").working["units"])
    assert units_used([relays().pk])[relays().pk] == 2 * once
    assert reserves_on(TODAY)[0].parts[0].used == 2 * once


def test_cost_that_is_taken_back_uses_no_life(books: Books) -> None:
    cost = priced(books)
    reverse_firing_cost(by=books.treasurer, at=NOON, cost=cost, reason="misread")
    assert units_used([relays().pk])[relays().pk] == 0
    assert reserves_on(TODAY)[0].balance_minor == 0


def test_reserves_month_by_month(books: Books) -> None:
    for _ in range(2):
        priced(books)
    replace_part(by=books.manager, at=NOON + timedelta(days=40), part=relays(), cost_minor=6_000)
    months = reserve_months(date(2026, 5, 3))
    assert [(m.month.month, m.saved_minor, m.spent_minor, m.balance_minor) for m in months] == [
        (3, 40, 0, 40),
        (4, 0, 40, 0),
        (5, 0, 0, 0),
    ]


def test_reserves_are_read_in_few_questions(books: Books, django_assert_num_queries: Any) -> None:
    BillingPolicy.current()
    for _ in range(3):
        priced(books)
    with django_assert_num_queries(3):
        reserves_on(TODAY)
    assert CostLine.objects.filter(part=relays()).count() == 3
