"""Memberships: given, changed, ended; what they do to charges; and what is refused."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from django.db import transaction

from billing.actions.balances import balance_minor_of, ledger_balances_on
from billing.actions.close_month import close_month
from billing.actions.crew_turns import note_crew_turn, strike_crew_turn
from billing.actions.memberships import (
    add_membership,
    change_holding,
    edit_membership,
    give_membership,
)
from billing.actions.price_firing import post_firing_cost, reverse_firing_cost
from billing.models import (
    BillingPolicy,
    ChargeStep,
    CrewTurn,
    FiringCost,
    Membership,
    MembershipHolding,
    Statement,
)
from billing.refusals import BillingRefusal
from firings.models import Firing, FiringState
from studio.models import Account
from studio.refusals import Denied
from tests.billing.conftest import Books
from tests.billing.scene import AFTER_MARCH, MARCH, NOON, make_firing

YEAR_END = date(2026, 12, 31)
FIRST = date(2026, 3, 1)


def hold(books: Books, account: Account, kind: str, name: str = "Club", **value: int) -> Membership:
    made = Membership.objects.create(name=name, kind=kind, **value)
    MembershipHolding.objects.create(
        account=account, membership=made, valid_from=FIRST, given_by=books.manager, given_at=NOON
    )
    return made


def priced(books: Books, firing: Firing | None = None) -> FiringCost:
    with transaction.atomic():
        return post_firing_cost(firing or books.firing(), books.manager, NOON)


def charged(cost: FiringCost) -> list[int]:
    return list(cost.shares.values_list("amount_minor", flat=True))


def balances() -> dict[str, int]:
    found = ledger_balances_on(YEAR_END)
    return {account.code: balance for account, balance in found if balance}


# --- What they do: 11.58 falls to Ada with 3.47 and 2.32, to Ben with 5.79 ------------------


def test_minimum_charge_is_the_studios_income_and_changes_nobody_else(books: Books) -> None:
    BillingPolicy.objects.update(minimum_charge_minor=300)
    cost = priced(books)
    assert charged(cost) == [347, 579, 300]
    assert list(cost.shares.values_list("split_minor", flat=True)) == [347, 579, 232]
    assert balances()["4110"] == -68


def test_surcharge_of_a_guest(books: Books) -> None:
    # 25 % of 5.79 is 1.4475: 1.45.
    hold(books, books.ben_account, "surcharge", basis_points=2500)
    assert charged(priced(books)) == [347, 724, 232]
    assert balances()["4200"] == -145


def test_subsidy_has_an_account_of_its_own(books: Books) -> None:
    # 30 % of 3.47 is 1.041, of 2.32 is 0.696.
    fund = hold(books, books.ada_account, "subsidy", name="Hardship fund", basis_points=3000)
    assert charged(priced(books)) == [243, 579, 162]
    assert balances()[f"5300.{fund.pk}"] == 104 + 70
    names = {account.code: account.name for account, _ in ledger_balances_on(YEAR_END)}
    assert names[f"5300.{fund.pk}"] == "Subsidy given: Hardship fund"


def test_area_allowance_lasts_a_calendar_month(books: Books) -> None:
    # 400 cm2 a month: all 300 of the first slip, 100 of the 200 of the second: 2.32 / 2 = 1.16.
    hold(books, books.ada_account, "area_allowance", area_mm2=40_000)
    assert charged(priced(books)) == [0, 579, 116]
    assert balances()["5310"] == 347 + 116
    assert charged(priced(books)) == [347, 579, 232]
    # 31 March 23:30 in Berlin is March still, half past midnight is April.
    zone = ZoneInfo("Europe/Berlin")
    late = books.firing(started_at=datetime(2026, 3, 31, 23, 30, tzinfo=zone))
    early = books.firing(started_at=datetime(2026, 4, 1, 0, 30, tzinfo=zone))
    assert charged(priced(books, late)) == [347, 579, 232]
    assert charged(priced(books, early)) == [0, 579, 116]


def test_amount_allowance_comes_back_with_a_cost_that_is_taken_back(books: Books) -> None:
    hold(books, books.ada_account, "amount_allowance", amount_minor=500)
    first = priced(books)
    assert charged(first) == [0, 579, 79]  # 3.47 and then 1.53 of 2.32
    reverse_firing_cost(by=books.treasurer, at=NOON, cost=first, reason="misread")
    assert charged(priced(books)) == [0, 579, 79]


def test_membership_holds_from_its_first_to_its_last_day(books: Books) -> None:
    hold(books, books.ben_account, "subsidy", basis_points=10_000)
    MembershipHolding.objects.update(valid_from=date(2026, 3, 11), valid_until=date(2026, 3, 12))
    starts = [NOON + timedelta(days=day) for day in range(4)]  # 10 to 13 March
    found = [charged(priced(books, books.firing(started_at=at)))[1] for at in starts]
    assert found == [579, 0, 0, 579]


def test_what_the_studio_carries_has_no_steps(books: Books) -> None:
    BillingPolicy.objects.update(minimum_charge_minor=300)
    hold(books, books.ben_account, "surcharge", basis_points=2500)
    cost = priced(books, books.firing(is_kiln_fault=True))
    assert charged(cost) == [0, 0, 0]
    assert not cost.steps.exists()


# --- Crew -----------------------------------------------------------------------------------


def test_crew_credit_goes_to_whoever_started_unless_others_are_noted(books: Books) -> None:
    hold(books, books.ada_account, "crew_firing", name="Crew", amount_minor=400)
    cost = priced(books, books.firing(started_by=books.ada))
    assert charged(cost) == [347, 579, 232]
    assert balance_minor_of(books.ada_account, YEAR_END) == 579 - 400
    assert balances()["5400"] == 400
    noted = books.firing(started_by=books.ada)
    note_crew_turn(by=books.manager, at=NOON, firing=noted, person=books.ben, minutes=60)
    assert not priced(books, noted).steps.exists()  # Ben holds nothing for crew


def test_crew_credit_by_the_hour_and_by_percentage(books: Books) -> None:
    # 95 minutes at 6.50: 10.2917; half of what Ben's account is charged, 5.79: 2.895.
    hold(books, books.ada_account, "crew_hour", name="By hours", amount_minor=650)
    hold(books, books.ben_account, "crew_percent", name="Half back", basis_points=5000)
    firing = books.firing()
    for person, minutes in ((books.ada, 90), (books.ben, 0), (books.ada, 95)):
        note_crew_turn(by=books.manager, at=NOON, firing=firing, person=person, minutes=minutes)
    cost = priced(books, firing)
    steps = cost.steps.order_by("pk")
    assert [(step.account, step.amount_minor) for step in steps] == [
        (books.ada_account, -1029),
        (books.ben_account, -290),
    ]
    assert [step.working["sentence"].replace("\xa0", " ") for step in steps] == [
        "By hours, Ada Rowan: €6.50 × 95 ÷ 60 minutes = €10.29 credited.",
        "Half back, Ben Sallow: €5.79 × 50 % = €2.90 credited.",
    ]


def test_crew_of_a_broken_off_firing_are_credited_too(books: Books) -> None:
    hold(books, books.ada_account, "crew_firing", amount_minor=400)
    firing = make_firing(books.kiln, state=FiringState.ABORTED, started_by=books.ada)
    assert priced(books, firing).steps.count() == 1
    assert balance_minor_of(books.ada_account, YEAR_END) == -400


def test_crew_credit_stands_on_the_statement_and_goes_with_a_reversal(books: Books) -> None:
    hold(books, books.ada_account, "crew_firing", name="Crew", amount_minor=400)
    cost = priced(books, books.firing(started_by=books.ada))
    reverse_firing_cost(by=books.treasurer, at=AFTER_MARCH, cost=cost, reason="misread")
    assert balance_minor_of(books.ada_account, YEAR_END) == 0
    close_month(by=books.treasurer, at=AFTER_MARCH, month=MARCH)
    statement = Statement.objects.get(account=books.ada_account)
    assert (statement.charges_minor, statement.credits_minor) == (579, 400)
    credit = next(line for line in statement.content["lines"] if line["kind"] == "credit")
    assert credit["text"].startswith("Crew: Ada Rowan, Glaze firing")


def test_turn_is_struck_and_noted_only_while_the_firing_has_no_cost(books: Books) -> None:
    firing = books.firing()
    turn = note_crew_turn(by=books.manager, at=NOON, firing=firing, person=books.ada, minutes=5)
    strike_crew_turn(by=books.manager, at=NOON, turn=turn)
    assert not CrewTurn.objects.exists()
    turn = note_crew_turn(by=books.manager, at=NOON, firing=firing, person=books.ada, minutes=5)
    priced(books, firing)
    with pytest.raises(BillingRefusal, match="is posted, with its crew credits"):
        strike_crew_turn(by=books.manager, at=NOON, turn=turn)


@pytest.mark.parametrize(
    ("state", "minutes", "code"),
    [(FiringState.PLANNED, 5, "no_work_yet"), (FiringState.CLOSED, 4321, "minutes_wrong")],
)
def test_turn_that_cannot_be_is_refused(books: Books, state: str, minutes: int, code: str) -> None:
    firing = make_firing(books.kiln, state=state)
    with pytest.raises(BillingRefusal) as refusal:
        note_crew_turn(by=books.manager, at=NOON, firing=firing, person=books.ada, minutes=minutes)
    assert refusal.value.code == code


def test_members_note_no_turns(books: Books) -> None:
    with pytest.raises(Denied):
        note_crew_turn(by=books.ada, at=NOON, firing=books.firing(), person=books.ada, minutes=5)


# --- Adding, changing, giving ---------------------------------------------------------------


def add(books: Books, **changes: Any) -> Membership:
    wanted = {"name": "Club", "kind": "subsidy", "basis_points": 3000, **changes}
    return add_membership(by=books.treasurer, at=NOON, **wanted)


def give(books: Books, membership: Membership, **changes: Any) -> MembershipHolding:
    wanted = {"account": books.ada_account, "valid_from": FIRST, **changes}
    return give_membership(by=books.treasurer, at=NOON, membership=membership, **wanted)


def test_membership_keeps_the_value_of_its_kind_alone(books: Books) -> None:
    made = add(books, amount_minor=700, area_mm2=9)
    assert (made.basis_points, made.amount_minor, made.area_mm2) == (3000, 0, 0)


@pytest.mark.parametrize(
    ("changes", "code"),
    [
        ({"name": " "}, "membership_name_wrong"),
        ({"name": "x" * 61}, "membership_name_wrong"),
        ({"kind": "gift"}, "membership_kind_wrong"),
        ({"basis_points": 0}, "membership_basis_points_wrong"),
        ({"basis_points": 10_001}, "membership_basis_points_wrong"),
        ({"kind": "surcharge", "basis_points": 100_001}, "membership_basis_points_wrong"),
        ({"kind": "crew_firing"}, "membership_amount_minor_wrong"),
        ({"kind": "area_allowance"}, "membership_area_mm2_wrong"),
    ],
)
def test_membership_that_cannot_be_is_refused(
    books: Books, changes: dict[str, Any], code: str
) -> None:
    with pytest.raises(BillingRefusal) as refusal:
        add(books, **changes)
    assert refusal.value.code == code
    assert not Membership.objects.exists()


def test_name_is_taken_once(books: Books) -> None:
    add(books)
    with pytest.raises(BillingRefusal, match="There is a membership called club already"):
        add(books, name="club")


def test_used_membership_is_only_withdrawn_from_the_offer(books: Books) -> None:
    made = add(books)
    edit = {"by": books.treasurer, "at": NOON, "membership": made, "name": "Club"}
    edit_membership(**edit, is_offered=True, basis_points=4000)
    give(books, made)
    priced(books)
    with pytest.raises(BillingRefusal, match="It has changed charges already"):
        edit_membership(**edit, is_offered=True, basis_points=5000)
    edit_membership(**edit, is_offered=False, basis_points=4000)
    with pytest.raises(BillingRefusal, match="is not offered any more"):
        give(books, made, account=books.ben_account)


@pytest.mark.parametrize(
    ("days", "code"),
    [
        ({"valid_from": date(2026, 3, 20)}, "holding_overlaps"),
        ({"valid_from": date(2026, 2, 1)}, "holding_overlaps"),
        ({"valid_from": date(1026, 2, 1)}, "membership_valid_from_wrong"),
        ({"valid_until": date(2026, 2, 1)}, "membership_valid_until_wrong"),
        ({"valid_until": date(3026, 2, 1)}, "membership_valid_until_wrong"),
    ],
)
def test_holding_that_cannot_be_is_refused(books: Books, days: dict[str, date], code: str) -> None:
    made = add(books)
    give(books, made)
    with pytest.raises(BillingRefusal) as refusal:
        give(books, made, **days)
    assert refusal.value.code == code


def test_holding_ends_and_another_begins(books: Books) -> None:
    made = add(books)
    first = give(books, made)
    ended = change_holding(by=books.manager, at=NOON, holding=first, valid_until=date(2026, 3, 31))
    second = give(books, made, valid_from=date(2026, 4, 1))
    assert ended.valid_until == date(2026, 3, 31)
    with pytest.raises(BillingRefusal, match="holds Club from 1 April 2026 already"):
        change_holding(by=books.manager, at=NOON, holding=first, valid_until=None)
    assert second.valid_until is None


def test_members_give_themselves_nothing(books: Books) -> None:
    made = add(books)
    for deed in (
        lambda: add_membership(by=books.ada, at=NOON, name="x", kind="subsidy", basis_points=1),
        lambda: edit_membership(by=books.ada, at=NOON, membership=made, name="y", is_offered=True),
        lambda: give_membership(
            by=books.ada, at=NOON, account=books.ada_account, membership=made, valid_from=FIRST
        ),
    ):
        with pytest.raises(Denied):
            deed()
    holding = give(books, made)
    with pytest.raises(Denied):
        change_holding(by=books.ada, at=NOON, holding=holding, valid_until=None)
    assert not ChargeStep.objects.exists()
