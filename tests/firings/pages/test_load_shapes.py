"""Outlines of the load's pictures: their areas by the usual formulas for plane figures."""

import math
import re

import pytest

from firings.calculations.footprints import Disc, Rectangle
from firings.calculations.shelves import Shelf
from firings.pages.load_shapes import (
    footprint_path,
    half_width_mm,
    place_words,
    quarter_middle,
    quarter_path,
    shelf_path,
)

HALF_ROUND = Shelf("half_round", 16, diameter_mm=400, side="right")


def corners_of(path):
    return [tuple(map(float, pair)) for pair in re.findall(r"(-?[\d.]+) (-?[\d.]+)", path)]


def area_of(path):
    """The shoelace formula."""
    corners = corners_of(path)
    pairs = zip(corners, [*corners[1:], corners[0]], strict=True)
    return abs(sum(x1 * y2 - x2 * y1 for (x1, y1), (x2, y2) in pairs)) / 2


def test_an_octagon_has_its_area():
    # 8 r^2 tan(pi/8) with the inner radius r
    path = shelf_path(Shelf("octagon", 16, across_flats_mm=400))
    assert area_of(path) == pytest.approx(8 * 200**2 * math.tan(math.pi / 8), rel=1e-3)


def test_a_turned_rectangle_keeps_its_area_and_grows_wider():
    dish = Rectangle(200, 100)
    assert area_of(footprint_path(dish, 10, 20, 30)) == pytest.approx(20_000, rel=1e-2)
    # width cos + depth sin, halved
    wide = (200 * math.cos(math.pi / 6) + 100 * math.sin(math.pi / 6)) / 2
    assert half_width_mm(dish, 30) == pytest.approx(wide)
    assert half_width_mm(Disc(90), 30) == 45


def test_what_is_at_the_back_is_on_top_of_the_picture():
    assert footprint_path(Disc(90), 0, 100, 0).startswith("M-45.0 -100.0")


def test_the_quarters_of_a_half_round_shelf_share_it_out():
    left, front, right, back = HALF_ROUND.bounds_mm
    quarters = [area_of(quarter_path(HALF_ROUND, quarter)) for quarter in range(4)]
    assert sum(quarters) == pytest.approx((right - left) * (back - front), rel=1e-3)


def test_a_half_round_shelf_bulges_to_its_side():
    # The last flag of an arc is its direction: 1 is clockwise, by the back to the right.
    assert "0 0 1 0.0 200.0" in shelf_path(HALF_ROUND)
    left = Shelf("half_round", 16, diameter_mm=400, side="left")
    assert "0 0 0 0.0 200.0" in shelf_path(left)


@pytest.mark.parametrize(
    ("x_mm", "y_mm", "words"),
    [(0, 0, "middle"), (-150, 150, "back left"), (150, -150, "front right"), (0, 150, "back")],
)
def test_places_have_words(x_mm, y_mm, words):
    assert place_words(Shelf("round", 16, diameter_mm=400), x_mm, y_mm) == words


def test_the_label_of_a_half_shelf_stands_between_its_quarters():
    shelf = Shelf("rectangle", 16, width_mm=400, depth_mm=400)
    assert quarter_middle(shelf, (0, 3)) == (100, 0)
