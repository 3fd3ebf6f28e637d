"""Aim: cents are shared out exactly. Method: published apportionments, known paradoxes,
properties. Sources, unless said otherwise beside the table: census of 1790 with 120 seats (the
bill vetoed in 1792) as in MAA Convergence, "Apportioning Representatives"; small tables from
COMAP, For All Practical Purposes, 10th ed., ch. 14, and Pearson, A Survey of Mathematics,
tables 14.48-14.49; paradoxes from Stein, How Math Explains the World, pp. 229-231, and Szpiro,
Numbers Rule, chs. 7 and 9."""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.splitting import ShareRequest, largest_remainder, split_pool

POPULATION_1790 = {
    "VA": 630_560,
    "MA": 475_327,
    "PA": 432_879,
    "NC": 353_523,
    "NY": 331_589,
    "MD": 278_514,
    "CT": 236_841,
    "SC": 206_236,
    "NJ": 179_570,
    "NH": 141_822,
    "VT": 85_533,
    "GA": 70_835,
    "KY": 68_705,
    "RI": 68_446,
    "DE": 55_540,
}
STATES = list(POPULATION_1790)


def split_list(total, weights):
    return list(largest_remainder(total, list(enumerate(weights))).values())


@pytest.mark.parametrize(
    ("seats", "expected"),
    [
        (120, [21, 16, 14, 12, 11, 9, 8, 7, 6, 5, 3, 2, 2, 2, 2]),
        (105, [18, 14, 13, 10, 10, 8, 7, 6, 5, 4, 2, 2, 2, 2, 2]),
    ],
)
def test_census_of_1790(seats, expected):
    split = largest_remainder(seats, list(POPULATION_1790.items()))
    assert split == dict(zip(STATES, expected, strict=True))


@pytest.mark.parametrize(
    ("total", "weights", "expected"),
    [
        (42, [247_000, 185_000, 459_000, 400_000, 413_000], [6, 5, 11, 10, 10]),
        (37, [14, 23, 45, 18], [5, 8, 17, 7]),
        # The second quota is 5.997: a floor taken of the displayed 6 would begin wrongly.
        (53, [93, 154, 486, 249, 223, 156], [3, 6, 19, 10, 9, 6]),
    ],
)
def test_textbook_tables(total, weights, expected):
    assert split_list(total, weights) == expected


@pytest.mark.parametrize(
    ("total", "weights", "expected"),
    [
        # Alabama: one more to share, and the last gets one less.
        (323, [567, 385, 42, 6], [183, 124, 14, 2]),
        (324, [567, 385, 42, 6], [184, 125, 13, 2]),
        # Population: B grows fastest and loses one.
        (100, [23_527, 5_548, 70_925], [23, 6, 71]),
        (100, [23_926, 5_648, 71_110], [24, 5, 71]),
        # Population: D shrinks and gains one.
        (100, [5_525_381, 3_470_152, 3_864_226, 201_203], [42, 27, 30, 1]),
        (100, [5_657_564, 3_507_464, 3_885_693, 201_049], [43, 26, 29, 2]),
        # New state: it brings its own 7, and two others change.
        (50, [99, 214, 487], [6, 13, 31]),
        (57, [99, 214, 487, 116], [6, 14, 30, 7]),
    ],
)
def test_paradoxes_of_the_method_are_reproduced(total, weights, expected):
    assert split_list(total, weights) == expected


def test_hands_out_by_remainder_not_by_rounded_share():
    # Arithmetic: quotas 33.6, 33.6, 32.8; rounding first would give 34, 34, 32.
    assert split_list(100, [336, 336, 328]) == [34, 33, 33]


def test_ties_go_to_the_lowest_key_whatever_the_order_given():
    assert largest_remainder(1000, [(9, 1), (4, 1), (7, 1)]) == {4: 334, 7: 333, 9: 333}


@pytest.mark.parametrize(
    ("total", "weights", "message"),
    [
        (10, [(1, -1), (2, 3)], "weight of 1 must not be negative, but is -1"),
        (10, [(1, 1), (1, 3)], "weights name 1 twice"),
        (10, [], "add up to nothing"),
        (10, [(1, 0), (2, 0)], "add up to nothing"),
        (10, [(1, 0.5)], "weight of 1 must be a whole number, not 0.5"),
        (10.0, [(1, 1)], "total must be a whole number of units, not 10.0"),
    ],
)
def test_refuses_what_cannot_be_split(total, weights, message):
    with pytest.raises(ValueError, match=message):
        largest_remainder(total, weights)


totals = st.integers(min_value=-(10**9), max_value=10**9)
weight_lists = st.lists(st.integers(min_value=0, max_value=10**7), min_size=1, max_size=40).filter(
    any
)


# Properties of quota methods: Balinski & Young, "Quotatone apportionment methods" (1979). No
# quota method is also monotone in population, so that is not asserted.
@given(totals, weight_lists)
def test_parts_sum_and_stay_within_quota(total, weights):
    parts = split_list(total, weights)
    assert sum(parts) == total
    for part, weight in zip(parts, weights, strict=True):
        assert abs(part - Fraction(total * weight, sum(weights))) < 1


@given(totals, weight_lists)
def test_larger_weight_never_gets_less_and_equal_ones_differ_by_one(total, weights):
    parts = [abs(part) for part in split_list(total, weights)]
    pairs = sorted(zip(weights, parts, strict=True))
    for (light, light_part), (heavy, heavy_part) in pairwise(pairs):
        assert light_part <= heavy_part
        assert light != heavy or heavy_part - light_part <= 1
    assert all(part == 0 for weight, part in pairs if weight == 0)


@given(totals, weight_lists, st.integers(min_value=1, max_value=1000), st.randoms())
def test_scale_and_order_change_nothing_and_reversal_mirrors(total, weights, scale, random):
    keyed = list(enumerate(weights))
    split = largest_remainder(total, keyed)
    shuffled = [(key, weight * scale) for key, weight in keyed]
    random.shuffle(shuffled)
    assert largest_remainder(total, shuffled) == split
    assert largest_remainder(-total, keyed) == {key: -part for key, part in split.items()}


def requests(*areas):
    return [ShareRequest(number, area) for number, area in enumerate(areas, start=101)]


def amounts(result):
    return [share.amount_minor for share in result.shares]


def test_used_policy_makes_bookings_carry_the_whole_pool():
    # Same table as above: 37 over 14, 23, 45, 18.
    result = split_pool(37, requests(14, 23, 45, 18), "used", usable_area_mm2=1000)
    assert amounts(result) == [5, 8, 17, 7]
    assert (result.studio_minor, result.divisor_mm2, result.warnings) == (0, 100, ())


def test_capacity_policy_makes_the_studio_carry_the_empty_area():
    # The new-state table: the fourth claimant is the empty shelf.
    result = split_pool(57, requests(99, 214, 487), "capacity", usable_area_mm2=916)
    assert amounts(result) == [6, 14, 30]
    assert (result.studio_minor, result.divisor_mm2) == (7, 916)


def test_studio_comes_last_in_a_tie():
    result = split_pool(1, requests(1), "capacity", usable_area_mm2=2)
    assert (amounts(result), result.studio_minor) == ([1], 0)


def test_overfull_load_is_split_over_the_charged_area_with_a_warning():
    result = split_pool(90, requests(100, 200), "capacity", usable_area_mm2=250)
    assert (amounts(result), result.studio_minor, result.divisor_mm2) == ([30, 60], 0, 300)
    assert "charged area 300 mm2 is more than the usable area 250 mm2" in result.warnings[0]


def test_working_repeats_the_sum():
    result = split_pool(53, requests(93, 154, 486, 249, 223, 156), "used", usable_area_mm2=2000)
    assert result.shares[1].working == {
        "policy": "used",
        "pool_minor": 53,
        "fixed_minor": 0,
        "bookings": 6,
        "area_mm2": 154,
        "divisor_mm2": 1361,
        "weight": 154,
        "weight_divisor": 1361,
        "weighs": "area",
        "quota_minor": "5.997060",  # 53 * 154 / 1361, cut
        "whole_minor": 5,
        "remainder": 1357,  # 53 * 154 - 5 * 1361
        "rounding": "added",
        "amount_minor": 6,
    }
    assert result.shares[0].rounding == "dropped"
    assert result.shares[1].quota == Fraction(53 * 154, 1361)


def test_quota_without_fraction_is_exact():
    assert split_pool(10, requests(5, 5), "used", 10).shares[0].rounding == "exact"


def test_firing_without_bookings_is_the_studios():
    result = split_pool(500, [], "used", usable_area_mm2=1000)
    assert (result.shares, result.studio_minor) == ((), 500)


@given(totals, weight_lists, st.integers(1, 10**8), st.sampled_from(["used", "capacity"]))
def test_shares_and_studio_sum_to_the_pool_and_reversal_cancels(pool, areas, usable, policy):
    result = split_pool(pool, requests(*areas), policy, usable)
    reversal = split_pool(-pool, requests(*areas), policy, usable)
    assert sum(amounts(result)) + result.studio_minor == pool
    assert amounts(reversal) == [-amount for amount in amounts(result)]
    assert reversal.studio_minor == -result.studio_minor


@pytest.mark.parametrize(
    ("areas", "policy", "usable", "message"),
    [
        (requests(1), "height", 10, "policy must be 'used' or 'capacity', not 'height'"),
        (requests(1), "capacity", 0, "usable_area_mm2 must be more than 0, but is 0"),
        (requests(0, 0), "used", 10, "areas hold no charged area"),
        (requests(-1, 5), "used", 10, "weight of 101 must not be negative"),
        ([*requests(1), *requests(2)], "used", 10, "weights name 101 twice"),
    ],
)
def test_refuses_a_pool_that_cannot_be_split(areas, policy, usable, message):
    with pytest.raises(ValueError, match=message):
        split_pool(100, areas, policy, usable)


def slow_working(pool_minor, fixed_minor, divisor_mm2, areas, share):
    """A share's figures from its quota as a fraction: fixed / bookings + rest x area / divisor."""
    fixed = Fraction(fixed_minor, len(areas)) if areas else Fraction(0)
    quota = fixed + Fraction((pool_minor - fixed_minor) * share.area_mm2, divisor_mm2)
    digits = f"{int(abs(quota) * 10**6):07d}"
    amount_minor, whole_minor = share.amount_minor, int(quota)
    rounding = "dropped" if amount_minor == whole_minor else "added"
    return {
        "quota_minor": f"{'-' if quota < 0 else ''}{digits[:-6]}.{digits[-6:]}",
        "whole_minor": whole_minor,
        "rounding": "exact" if quota == amount_minor else rounding,
    }


@given(
    st.integers(-(10**7), 10**7),
    st.integers(0, 100),
    st.lists(st.integers(1, 10**6), min_size=1, max_size=30),
    st.sampled_from(["used", "capacity"]),
)
def test_whole_numbers_say_what_fractions_say(pool_minor, fixed_percent, areas, policy):
    """The working is made with whole numbers alone; fractions, five times slower, are the check."""
    fixed_minor = int(Fraction(pool_minor * fixed_percent, 100))
    result = split_pool(pool_minor, requests(*areas), policy, 10**6, fixed_minor=fixed_minor)
    for share in result.shares:
        slow = slow_working(pool_minor, fixed_minor, result.divisor_mm2, areas, share)
        assert {name: share.working[name] for name in slow} == slow
        assert share.rounding == slow["rounding"]
    assert sum(s.amount_minor for s in result.shares) + result.studio_minor == pool_minor
