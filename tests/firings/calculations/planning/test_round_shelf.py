"""The smallest round shelf against published packings."""

import math
from itertools import combinations

import pytest

from firings.calculations.planning.round_shelf import smallest_radius
from tests.published_packings import RADIUS_AROUND_UNIT_CIRCLES

STEPS = 960
# Seed 1 is enough on the machines tried; rounding differs a little from processor to processor.
SEEDS = range(1, 7)


@pytest.mark.parametrize("count", range(1, 31))
def test_equal_discs_come_within_a_thousandth_of_the_best_known_radius(count):
    # Graham, Lubachevsky, Nurmela, Ostergard 1998 and Specht's list.
    best_known = RADIUS_AROUND_UNIT_CIRCLES[count - 1]
    for seed in SEEDS:
        radius, _ = smallest_radius([1.0] * count, seed=seed, steps=STEPS)
        assert radius >= best_known * (1 - 1e-9)
        if radius <= best_known * 1.001:
            break
    assert radius <= best_known * 1.001


@pytest.mark.parametrize("radii", [[1.0] * 12, [5, 1, 2.5, 2.5, 4, 0.5, 3]])
def test_no_two_discs_overlap_and_none_sticks_out(radii):
    around, places = smallest_radius(radii, seed=4, steps=320)
    discs = list(zip(places, radii, strict=True))
    assert max(math.hypot(*place) + radius for place, radius in discs) <= around + 1e-9
    for (one, r1), (other, r2) in combinations(discs, 2):
        assert math.dist(one, other) >= r1 + r2 - 1e-9


def test_two_discs_lie_side_by_side():
    # Two circles of radii a and b just fit a circle of radius a + b.
    radius, _ = smallest_radius([120.0, 45.0], seed=1, steps=160)
    assert radius == pytest.approx(165.0, rel=1e-5)


def test_three_unequal_discs_touch_each_other_and_the_circle_around_them():
    # Descartes' circle theorem (letter of 1643): k4 = k1 + k2 + k3 - 2 sqrt(k1 k2 + k2 k3 + k3 k1).
    k1, k2, k3 = 1 / 60, 1 / 50, 1 / 40
    around = -1 / (k1 + k2 + k3 - 2 * math.sqrt(k1 * k2 + k2 * k3 + k3 * k1))
    radius, _ = smallest_radius([60.0, 50.0, 40.0], seed=1, steps=160)
    assert radius == pytest.approx(around, rel=1e-5)


def test_same_seed_gives_the_same_answer():
    one = smallest_radius([3, 2, 2, 1.5, 1], seed=9, steps=320)
    assert one == smallest_radius([3, 2, 2, 1.5, 1], seed=9, steps=320)


@pytest.mark.parametrize("radii", [[], [1.0, 0.0], [2.0, -1.0], [math.inf]])
def test_radii_that_cannot_be_are_refused(radii):
    with pytest.raises(ValueError, match="radii must be one or more lengths above 0"):
        smallest_radius(radii, seed=1, steps=10)


def test_no_steps_are_refused():
    with pytest.raises(ValueError, match="steps must be 1 or more, got 0"):
        smallest_radius([1.0], seed=1, steps=0)
