"""Footprints and charged areas against exact geometry."""

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.footprints import (
    SHELF_FRACTIONS,
    Disc,
    Rectangle,
    area_mm2,
    charged_area_mm2,
    fraction_area_mm2,
)

sizes = st.integers(min_value=1, max_value=2000)
gaps = st.integers(min_value=0, max_value=200)


@pytest.mark.parametrize(
    ("footprint", "gap_mm", "charged_mm2"),
    [
        # pi/4 d^2 by hand: 100 mm gives 7853.98; 90 + 6 = 96 mm gives 7238.23.
        (Disc(100), 0, 7854),
        (Disc(90), 6, 7238),
        (Rectangle(200, 100), 0, 20_000),
        (Rectangle(200, 100), 6, 206 * 106),
        # 10 in x 5 in with the inch of exactly 25.4 mm (NIST SP 811, B.8), in whole mm.
        (Rectangle(254, 127), 0, 32_258),
    ],
)
def test_charged_area_grows_by_half_the_gap_on_each_side(footprint, gap_mm, charged_mm2):
    assert charged_area_mm2(footprint, gap_mm) == charged_mm2


def test_charged_area_of_an_18_inch_shelf_disc():
    # 18 in = 457.2 mm exactly (NIST SP 811, B.8); the whole-mm disc lies within half a mm of it.
    exact_mm2 = math.pi * (18 * 25.4) ** 2 / 4
    assert abs(area_mm2(Disc(457)) - exact_mm2) < math.pi * 457.2 * 0.25


@given(sizes, gaps)
def test_disc_never_exceeds_its_square(diameter_mm, gap_mm):
    square = charged_area_mm2(Rectangle(diameter_mm, diameter_mm), gap_mm)
    assert charged_area_mm2(Disc(diameter_mm), gap_mm) <= square


@given(sizes, sizes, gaps)
def test_turning_a_rectangle_changes_nothing(width_mm, depth_mm, gap_mm):
    as_it_is = charged_area_mm2(Rectangle(width_mm, depth_mm), gap_mm)
    assert charged_area_mm2(Rectangle(depth_mm, width_mm), gap_mm) == as_it_is


@pytest.mark.parametrize(
    ("fraction", "charged_mm2"), [("quarter", 30_481), ("half", 60_961), ("full", 121_922)]
)
def test_shelf_fraction_is_rounded_half_up(fraction, charged_mm2):
    # 121,922 / 4 = 30,480.5, which rounds up.
    assert fraction_area_mm2(121_922, SHELF_FRACTIONS[fraction]) == charged_mm2


@pytest.mark.parametrize("size_mm", [0, -5, 2001, 12.5, True])
def test_absurd_sizes_name_the_argument(size_mm):
    with pytest.raises(ValueError, match="diameter_mm"):
        Disc(size_mm)
    with pytest.raises(ValueError, match="depth_mm"):
        Rectangle(100, size_mm)


def test_absurd_gaps_and_fractions_are_refused():
    with pytest.raises(ValueError, match="gap_mm must lie between 0 and 200 mm, got -1"):
        charged_area_mm2(Disc(100), -1)
    with pytest.raises(ValueError, match="fraction must be a quarter, half or full shelf, got 1/3"):
        fraction_area_mm2(1000, Fraction(1, 3))
    with pytest.raises(ValueError, match="shelf_area_mm2 must be above 0, got 0"):
        fraction_area_mm2(0, Fraction(1, 4))
