"""Open items by the oldest-first rule; the sums are done by hand beside each."""

from datetime import date

from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.ageing import open_items
from billing.calculations.statements import OpenItem, age_balance

TODAY = date(2026, 4, 30)
FEBRUARY, MARCH, NEXT = date(2026, 2, 16), date(2026, 3, 16), date(2026, 5, 14)
CHARGES = [OpenItem(FEBRUARY, 1000), OpenItem(MARCH, 500), OpenItem(NEXT, 200)]


def test_payments_settle_the_oldest_charges_first() -> None:
    # 17.00 charged, 12.00 paid: February's 10.00 and 2.00 of March's 5.00 are settled.
    items = open_items(500, CHARGES, TODAY)
    assert items == [OpenItem(NEXT, 200), OpenItem(MARCH, 300)]
    aged = age_balance(items, TODAY)
    # 16 March to 30 April is 45 days.
    assert (aged.current_minor, aged.days_31_to_60_minor, sum(vars(aged).values())) == (
        200,
        300,
        500,
    )


def test_nothing_paid_leaves_every_charge_open() -> None:
    aged = age_balance(open_items(1700, CHARGES, TODAY), TODAY)
    # 16 February to 30 April is 73 days.
    assert (aged.current_minor, aged.days_31_to_60_minor, aged.days_61_to_90_minor) == (
        200,
        500,
        1000,
    )


def test_balance_in_credit_stands_at_today() -> None:
    assert open_items(-300, CHARGES, TODAY) == [OpenItem(TODAY, -300)]
    assert open_items(0, CHARGES, TODAY) == []


@given(
    st.integers(-10_000, 10_000),
    st.lists(st.tuples(st.dates(date(2020, 1, 1), date(2027, 1, 1)), st.integers(1, 5000))),
)
def test_items_always_sum_to_the_balance(
    balance_minor: int, charges: list[tuple[date, int]]
) -> None:
    items = open_items(balance_minor, [OpenItem(*charge) for charge in charges], TODAY)
    assert sum(item.amount_minor for item in items) == balance_minor
