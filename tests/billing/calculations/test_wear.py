"""Aim: a part is charged by use and never beyond its cost. Method: published exercises in units
of production, and the published durability of element wire."""

from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.wear import (
    PartWear,
    element_life_units,
    element_weight,
    flat_units,
    wear_charge,
    wear_rate,
)


def charges(cost, residual, life, uses):
    """Charges in whole currency units for one use after another."""
    charged_minor, amounts = 0, []
    for units in uses:
        part = PartWear(cost * 100, Decimal(life), charged_minor, residual * 100)
        amount_minor = wear_charge(part, Decimal(units)).amount_minor
        charged_minor += amount_minor
        amounts.append(Decimal(amount_minor) / 100)
    return amounts


@pytest.mark.parametrize(
    ("cost", "residual", "life", "uses", "expected"),
    [
        # Gannon (tutorsglobe.com exercise 52135565): the cap bites in year 5, 52,800 without it.
        (
            312_000,
            28_000,
            1_136_000,
            [245_600, 230_400, 227_000, 232_600, 211_200],
            [61_400, 57_600, 56_750, 58_150, 50_100],
        ),
        # Exercise (one of qammunity.org 1410039, edlintics.com, thefinancebase.com).
        (72_000, 6_000, 500_000, [90_000, 82_000, 94_000], [11_880, 10_824, 12_408]),
        # Clearcopy press (tutorsglobe.com exercise 51248136).
        (171_600, 15_000, 4_500_000, [675_000], [23_490]),
        # Introductory exercises, same three pages.
        (40_000, 5_000, 200_000, [30_000], [5_250]),
        (100_000, 20_000, 1_000_000, [200_000], [16_000]),
        (50_320, 4_600, 1_143_000, [288_000], [11_520]),
    ],
)
def test_units_of_production_exercises(cost, residual, life, uses, expected):
    assert charges(cost, residual, life, uses) == expected


def test_rates_of_the_exercises():
    rates = {
        (312_000, 28_000, 1_136_000): Fraction("0.25"),
        (72_000, 6_000, 500_000): Fraction("0.132"),
        (171_600, 15_000, 4_500_000): Fraction("0.0348"),
    }
    for (cost, residual, life), rate in rates.items():
        assert wear_rate(PartWear(cost * 100, Decimal(life), 0, residual * 100)) == rate * 100


def test_working_shows_the_cap():
    part = PartWear(31_200_000, Decimal(1_136_000), 23_390_000, 2_800_000)
    charge = wear_charge(part, Decimal(211_200))
    assert charge.is_capped
    assert charge.working == {
        "replacement_cost_minor": 31_200_000,
        "residual_minor": 2_800_000,
        "expected_life_units": "1136000",
        "spread_minor": 28_400_000,
        "spread_units": "1136000",
        "units": "211200",
        "uncapped_minor": 5_280_000,
        "charged_so_far_minor": 23_390_000,
        "left_to_charge_minor": 5_010_000,
        "amount_minor": 5_010_000,
    }


def test_change_of_estimate_is_prospective():
    """Book value over the units that are left, nothing restated: IAS 8 on a change of estimate, by
    the figures of the Gannon exercise. After year 2, 119,000 of 284,000 are charged and 476,000 of
    1,136,000 units used; the life is then put at 1,301,000, which leaves 825,000 units for 165,000:
    0.20 a unit (arithmetic)."""
    anew = {"charged_at_estimate_minor": 11_900_000, "units_at_estimate": Decimal(476_000)}
    part = PartWear(31_200_000, Decimal(1_301_000), 11_900_000, 2_800_000, **anew)
    assert wear_rate(part) == 20
    assert wear_charge(part, Decimal(227_000)).amount_minor == 4_540_000
    last = PartWear(31_200_000, Decimal(1_301_000), 28_300_000, 2_800_000, **anew)
    assert wear_charge(last, Decimal(227_000)).amount_minor == 100_000


def test_idle_part_and_outlived_part_cost_nothing():
    # IAS 16 paragraph 55: by a usage method the charge can be zero while there is no production.
    assert wear_charge(PartWear(1000, Decimal(10)), Decimal(0)).amount_minor == 0
    assert wear_charge(PartWear(1000, Decimal(10), 1200), Decimal(1)).amount_minor == 0


@given(
    st.integers(0, 10**7),
    st.integers(1, 10**5),
    st.lists(st.decimals(0, 500, places=2), max_size=60),
)
def test_charges_never_exceed_the_cost(cost_minor, life, uses):
    charged_minor = 0
    for units in uses:
        part = PartWear(cost_minor, Decimal(life), charged_minor)
        charged_minor += wear_charge(part, units).amount_minor
    assert 0 <= charged_minor <= cost_minor


# Kanthal, Appliance Alloys Handbook (catalogue 1-A-4-3, 2003), Table 1, A-1: 340, 100, 30.
@pytest.mark.parametrize(("temperature_c", "durability"), [(1100, 340), (1200, 100), (1300, 30)])
def test_element_weight_is_the_inverse_of_the_published_durability(temperature_c, durability):
    assert element_weight(Decimal(temperature_c)) == round(Decimal(100) / durability, 4)


def test_element_weight_follows_arrhenius_between_and_below_the_table():
    # 206 kJ/mol fits 1100 and 1200 C, 232 kJ/mol 1200 and 1300 C, with R = 8.314 J/(mol K).
    from math import exp

    for temperature_c, joule_per_mol in ((1000, 206_000), (1150, 206_000), (1250, 232_000)):
        expected = exp(joule_per_mol / 8.314 * (1 / 1473.15 - 1 / (temperature_c + 273.15)))
        assert float(element_weight(Decimal(temperature_c))) == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize(
    ("alloy", "temperature_c", "durability"),
    [("af", 1100, 465), ("af", 1200, 120), ("af", 1300, 30), ("ae", 1100, 550), ("ae", 1200, 120)],
)
def test_other_alloys_have_their_published_durability(alloy, temperature_c, durability):
    # The same table, AF and AE; it leaves AE at 1300 C open.
    assert element_weight(Decimal(temperature_c), alloy) == round(Decimal(100) / durability, 4)


def test_ae_is_extrapolated_above_its_last_published_value():
    # Our stated rule: the line through 550 and 120 in ln(durability) over 1/T, on to 1300 C.
    from math import log

    at_1100, at_1200, at_1300 = (1 / (c + 273.15) for c in (1100, 1200, 1300))
    slope = log(550 / 120) / (at_1100 - at_1200)
    expected = 100 / 120 / 2.718281828459045 ** (slope * (at_1300 - at_1200))
    assert float(element_weight(Decimal(1300), "ae")) == pytest.approx(expected, rel=1e-3)


def test_alloy_counts_in_hours_of_a1_at_1200():
    # 100 / 120 of an hour of A-1 for each hour of AF at 1200 C.
    assert element_life_units({1200: 3600}, 0, "af") == Decimal("0.8333")


def test_element_weight_has_a_floor():
    # Common practice, no source.
    assert element_weight(Decimal(600)) == Decimal("0.01")


def test_element_life_units_are_hours_at_1200():
    assert element_life_units({1200: 3600}, class_width_c=0) == 1
    assert element_life_units({1100: 3600, 1300: 1800}, 0) == Decimal("1.9608")  # .2941 + 1.66665
    assert element_life_units({}, 25) == 0
    assert element_life_units({1100: 7200.4}, class_width_c=200) == 2  # middle of the class is 1200


def test_flat_units_count_firings():
    assert flat_units() == 1
    assert flat_units(3) == 3


@pytest.mark.parametrize(
    ("build", "message"),
    [
        (lambda: PartWear(-1, Decimal(1)), "replacement_cost_minor must be a whole number"),
        (lambda: PartWear(1, Decimal(0)), "expected_life_units must be more than 0, but is 0"),
        (
            lambda: PartWear(9, Decimal(5), units_at_estimate=Decimal(5)),
            "expected_life_units must be more than 5, but is 5",
        ),
        (lambda: element_weight(Decimal(900), "tin"), "alloy must be one of a1, af, ae, not"),
        (lambda: PartWear(1, Decimal(1), 0, 2), "residual_minor 2 is more than"),
        (lambda: wear_rate(PartWear(1, Decimal("NaN"))), "expected_life_units must be a finite"),
        (lambda: wear_charge(PartWear(1, Decimal(1)), Decimal(-1)), "units must not be negative"),
        (lambda: element_life_units({900: -1}, 25), "hot_seconds of 900 C must not be negative"),
        (lambda: element_life_units({900: 1}, -50), "class_width_c must not be negative"),
        (lambda: element_weight(Decimal(-300)), "above absolute zero"),
        (lambda: flat_units(-1), "firings must be a whole number"),
    ],
)
def test_refuses_impossible_parts_and_uses(build, message):
    with pytest.raises(ValueError, match=message):
        build()
