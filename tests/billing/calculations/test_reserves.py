"""Aim: percent funded by the component method, and a life that learns. Method: worked examples of
the National Reserve Study Standards (Community Associations Institute) as on reservestudy.com,
staeblerappraisal.com and browningrg.com; arithmetic where nothing is published."""

from datetime import date
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.reserves import (
    Component,
    due_on,
    fully_funded_minor,
    learned_life,
    percent_funded,
)

ROOF = Component(4_500_000, Decimal(30), Decimal(10))


def test_fully_funded_balance_of_a_roof():
    # 45,000, 30 years, 10 of them gone: 15,000.
    assert fully_funded_minor(ROOF) == 1_500_000


# 3,000 with a life of 3 years and 2.5 % inflation, replaced in years 3 and 6: cost by year, and
# the fully funded balance from the current cost.
@pytest.mark.parametrize(
    ("cost", "age", "expected"),
    [
        ("3000", 1, 1000),
        ("3075", 2, 2050),
        ("3151.875", 3, 3152),
        ("3230.671875", 1, 1077),
        ("3311.438672", 2, 2208),
        ("3394.224639", 3, 3394),
        ("3479.080255", 1, 1160),
    ],
)
def test_fully_funded_balance_follows_the_current_cost(cost, age, expected):
    in_cents = int(Decimal(cost) * 100)
    component = Component(in_cents, Decimal(3), Decimal(age))
    assert round(Decimal(fully_funded_minor(component)) / 100) == expected


def test_percent_funded_sums_the_components():
    # 15,000 and 1,000 fully funded: a balance of 12,000 is 75 %.
    components = [ROOF, Component(300_000, Decimal(3), Decimal(1))]
    assert percent_funded(1_200_000, components) == 75
    assert percent_funded(0, components) == 0
    assert percent_funded(500, []) is None
    assert percent_funded(500, [Component(300, Decimal(3), Decimal(0))]) is None


def test_a_part_beyond_its_life_is_due_and_counts_whole():
    old = Component(45_000, Decimal(30), Decimal(41))
    assert fully_funded_minor(old) == 45_000
    assert old.life_left == 0
    assert due_on(old, Decimal(1), 10, date(2026, 3, 1)) == date(2026, 3, 1)


def test_next_replacement_at_the_pace_so_far():
    # 20 years left; 10 used in 100 days: 200 days (arithmetic).
    assert due_on(ROOF, Decimal(10), 100, date(2026, 1, 1)) == date(2026, 7, 20)


@pytest.mark.parametrize(("used", "days"), [("0", 100), ("5", 0), ("0.01", 10_000)])
def test_without_a_pace_no_day_is_named(used, days):
    assert due_on(ROOF, Decimal(used), days, date(2026, 1, 1)) is None


def test_life_is_the_mean_of_estimate_and_what_was_seen():
    # 120 and 90: 105; 120, 90 and 99.50: 103.17 (arithmetic).
    assert learned_life(Decimal(120), Decimal(90)) == 105
    assert learned_life(Decimal(105), Decimal("99.5"), weight=2) == Decimal("103.17")


lives = st.decimals(1, 10_000, places=2)


@given(lives, lives, st.integers(1, 9))
def test_learned_life_lies_between_what_it_learned_from(estimate, observed, weight):
    learned = learned_life(estimate, observed, weight)
    assert min(estimate, observed) <= learned <= max(estimate, observed)


@given(st.integers(0, 10**8), lives, st.decimals(0, 20_000, places=2))
def test_full_funding_never_exceeds_the_cost(cost, life, age):
    assert 0 <= fully_funded_minor(Component(cost, life, age)) <= cost


@pytest.mark.parametrize(
    ("build", "message"),
    [
        (lambda: Component(-1, Decimal(1), Decimal(0)), "replacement_cost_minor must not be"),
        (lambda: Component(1, Decimal(0), Decimal(0)), "useful_life must be more than 0"),
        (lambda: Component(1, Decimal(1), Decimal(-1)), "effective_age must not be negative"),
        (lambda: learned_life(Decimal(0), Decimal(1)), "must be more than 0"),
        (lambda: learned_life(Decimal(1), Decimal(1), 0), "weight must be 1 or more"),
    ],
)
def test_refuses_impossible_components(build, message):
    with pytest.raises(ValueError, match=message):
        build()
