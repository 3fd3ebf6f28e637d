"""Aim: what all carry alike and what each carries by area add up, and are fair in the published
sense. Method: worked examples of cost sharing, the axioms they follow from, properties."""

from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from billing.calculations.sharing_rules import (
    FixedPart,
    OnLayer,
    StoodOn,
    areas_on_layers,
    fixed_minor,
    layer_heights,
)
from billing.calculations.splitting import ShareRequest, split_pool


def split(pool, fixed, own, policy="used", usable=0, weights=None):
    """Amounts of bookings whose own part is as `own` says."""
    weights = weights or [None] * len(own)
    requests = [ShareRequest(n, area, weights[n]) for n, area in enumerate(own)]
    return split_pool(pool, requests, policy, usable, fixed_minor=fixed)


def amounts(result):
    return [share.amount_minor for share in result.shares]


# Common cost of two users: Horngren, Cost Accounting, ch. 15, Shapley value. The common part is
# what two pay less than each alone: a + b - T.
@pytest.mark.parametrize(
    ("together", "alone", "expected"),
    [
        (9_000, (7_500, 2_500), [7_000, 2_000]),
        (120_000, (90_000, 60_000), [75_000, 45_000]),
        (90_000, (60_000, 40_000), [55_000, 35_000]),
        (8_500, (8_000, 3_600), [6_450, 2_050]),
    ],
)
def test_common_cost_of_two_users(together, alone, expected):
    common = sum(alone) - together
    own = [cost - common for cost in alone]
    assert amounts(split(together, common, own)) == expected


# Airport game (Littlechild & Owen 1973, Management Science 20(3), 370-372): each step of cost is
# carried alike by all who need it, so it is one fixed part for each level. The last row is in
# sixths, so its costs are taken six hundredfold.
@pytest.mark.parametrize(
    ("costs", "expected"),
    [
        ([8, 11, 13, 18], [2, 3, 4, 9]),
        ([1500, 2200, 3000], [500, 850, 1650]),
        ([1500, 2200, 3500], [500, 850, 2150]),
        (
            [24_000, 30_000, 36_000, 42_000, 48_000, 54_000],
            [4_000, 5_200, 6_700, 8_700, 11_700, 17_700],
        ),
    ],
)
def test_airport_game_level_by_level(costs, expected):
    paid, below = [0] * len(costs), 0
    for level, cost in enumerate(costs):
        users = range(level, len(costs))
        step = split_pool(
            cost - below,
            [ShareRequest(user, 1) for user in users],
            "used",
            0,
            fixed_minor=cost - below,
        )
        for share in step.shares:
            paid[share.booking_number] += share.amount_minor
        below = cost
    assert paid == expected


def serial_shares(fixed, own):
    """Moulin & Shenker 1992, Econometrica 60(5), 1009-1037, for C(q) = fixed + q: in order of
    demand, agent k pays [C(s_k) - C(s_{k-1})] / (n - k + 1) more than the one before."""
    order = sorted(range(len(own)), key=lambda n: own[n])
    paid, last, so_far = [Fraction(0)] * len(own), Fraction(0), Fraction(0)
    for rank, agent in enumerate(order):
        left = len(own) - rank
        demand = sum(own[n] for n in order[:rank]) + left * own[agent]
        cost = Fraction(fixed + demand)
        so_far += (cost - last) / left
        paid[agent], last = so_far, cost
    return paid


fixed_and_own = st.tuples(
    st.integers(0, 10**6), st.lists(st.integers(1, 10**6), min_size=1, max_size=12)
)


@given(fixed_and_own)
def test_share_is_the_serial_cost_share_to_the_unit(case):
    fixed, own = case
    result = split(fixed + sum(own), fixed, own)
    assert [share.quota for share in result.shares] == serial_shares(fixed, own)


@given(fixed_and_own)
def test_nobody_carries_more_than_alone_nor_less_than_the_own_part(case):
    # Stability of any split of a common cost: Moulin & Shenker 1992, section 2.
    fixed, own = case
    result = split(fixed + sum(own), fixed, own)
    for share, mine in zip(result.shares, own, strict=True):
        assert mine <= share.amount_minor <= fixed + mine


def test_three_users_of_one_batch():
    # 12 to heat the empty kiln and own costs 3, 5, 10: 12/3 + own (arithmetic).
    assert amounts(split(30, 12, [3, 5, 10])) == [7, 9, 14]


def test_empty_area_carries_nothing_of_the_fixed_part():
    # 12 alike for three; 18 over 30 mm2 of which 12 are empty: 1.8, 3, 6 and 7.2.
    result = split(30, 12, [3, 5, 10], "capacity", 30)
    assert [share.quota for share in result.shares] == [Fraction(29, 5), 7, 10]
    assert (amounts(result), result.studio_minor) == ([6, 7, 10], 7)


def test_working_of_a_fixed_part():
    working = split(1000, 100, [1, 1, 4]).shares[2].working
    assert (working["fixed_minor"], working["bookings"]) == (100, 3)
    assert working["quota_minor"] == "633.333333"  # 100/3 + 900 x 4/6
    assert working["remainder"] == 6  # of a denominator of 3 x 6


@given(
    st.integers(-(10**6), 10**6),
    st.fractions(0, 1),
    st.lists(st.integers(0, 10**5), min_size=1, max_size=15).filter(any),
    st.integers(1, 10**6),
    st.sampled_from(["used", "capacity"]),
    st.integers(1, 400),
)
def test_any_rule_sums_stays_in_quota_and_mirrors(pool, part, areas, usable, policy, height):
    fixed = int(pool * part)
    requests = [ShareRequest(n, area, area * height) for n, area in enumerate(areas)]
    options = {"usable_weight": usable * height}
    result = split_pool(pool, requests, policy, usable, fixed_minor=fixed, **options)
    assert sum(amounts(result)) + result.studio_minor == pool
    for share in result.shares:
        assert abs(share.amount_minor - share.quota) < 1
        if share.area_mm2 == 0 and fixed == 0:
            assert share.amount_minor == 0
    mirrored = split_pool(-pool, requests, policy, usable, fixed_minor=-fixed, **options)
    assert amounts(mirrored) == [-amount for amount in amounts(result)]
    # one height for all weighs nothing
    by_area = [ShareRequest(n, area) for n, area in enumerate(areas)]
    plain = split_pool(pool, by_area, policy, usable, fixed_minor=fixed)
    assert (amounts(plain), plain.studio_minor) == (amounts(result), result.studio_minor)


@given(
    st.integers(0, 10**6),
    st.fractions(0, 1),
    st.lists(st.integers(1, 10**5), min_size=2, max_size=15),
    st.randoms(use_true_random=False),
)
def test_alike_pay_alike_whatever_the_order(pool, part, areas, random):
    requests = [ShareRequest(n, area) for n, area in enumerate(areas)]
    shuffled = list(requests)
    random.shuffle(shuffled)
    fixed = int(pool * part)
    result = split_pool(pool, requests, "used", 0, fixed_minor=fixed)
    assert split_pool(pool, shuffled, "used", 0, fixed_minor=fixed) == result
    by_quota = sorted((share.quota, share.amount_minor) for share in result.shares)
    for (light, less), (heavy, more) in pairwise(by_quota):
        assert less <= more
        assert light != heavy or more - less <= 1


@pytest.mark.parametrize(
    ("part", "energy", "expected"),
    [
        (FixedPart(), 1000, 0),
        (FixedPart("percent", percent=30), 888, 266),  # 266.4
        (FixedPart("percent", percent=50), 889, 445),  # 444.5: the half goes to the fixed part
        (FixedPart("percent", percent=100), 888, 888),
        (FixedPart("amount", estimate_minor=250), 888, 250),
        (FixedPart("amount", estimate_minor=2500), 888, 888),
    ],
)
def test_fixed_part_of_the_electricity(part, energy, expected):
    assert fixed_minor(part, energy) == expected


def test_layer_heights_run_to_the_next_shelf_and_the_lid():
    # Shelves of 16 mm at 25, 141 and 307 mm under a lid at 570 mm (arithmetic).
    shelves = [(2, 141, 16), (1, 25, 16), (3, 307, 16)]
    assert layer_heights(shelves, 570) == {1: 100, 2: 150, 3: 247}


def test_weight_is_area_times_height():
    # 300 mm2 under 100 mm; 500 mm2 of which 2/5 of the ware stands under 100, 3/5 under 200 mm.
    stood = [StoodOn(7, 300, {1: 280}), StoodOn(8, 500, {1: 40, 2: 60})]
    found = areas_on_layers(stood, {1: 100, 2: 200})
    assert found[7] == (OnLayer(1, 300, 100),)
    assert found[8] == (OnLayer(1, 200, 100), OnLayer(2, 300, 200))
    assert sum(one.weight_mm3 for one in found[8]) == 80_000


@pytest.mark.parametrize("heights", [{1: 100}, {1: 100, 2: 0}])
def test_unknown_layer_or_height_means_no_weights(heights):
    assert areas_on_layers([StoodOn(7, 300, {1: 9}), StoodOn(8, 500, {2: 5})], heights) is None
    assert areas_on_layers([StoodOn(7, 300, {1: 9}), StoodOn(8, 500, {})], {1: 100}) is None


@pytest.mark.parametrize(
    ("build", "message"),
    [
        (lambda: FixedPart("half"), "kind must be 'none', 'percent' or 'amount', not 'half'"),
        (lambda: FixedPart("percent", percent=101), "percent must lie between 0 and 100"),
        (lambda: FixedPart("amount", estimate_minor=-1), "estimate_minor must not be negative"),
        (lambda: fixed_minor(FixedPart(), -1), "energy_minor must not be negative"),
        (lambda: split(10, 11, [1]), "fixed_minor 11 is not a part of pool_minor 10"),
        (lambda: split(10, -1, [1]), "fixed_minor -1 is not a part of pool_minor 10"),
        (lambda: split(10, 0.5, [1]), "fixed_minor must be a whole number"),
        (lambda: split(10, 0, [1, 1], weights=[2, None]), "a weight for some bookings and none"),
        (lambda: split(10, 0, [1], "capacity", 5, [2]), "usable_weight must be given"),
    ],
)
def test_refuses_impossible_rules(build, message):
    with pytest.raises(ValueError, match=message):
        build()
