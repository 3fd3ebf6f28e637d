"""The room in a kiln: shelf areas, post places, and which limit a piece breaks."""

import math

import pytest

from firings.calculations.footprints import Disc, Rectangle
from firings.calculations.kiln_space import (
    Chamber,
    KilnSpace,
    Shelf,
    SizeLimit,
    Stack,
    check_footprint_fits,
    lowest_posts,
    suggested_post_places,
    tallest_piece_mm,
    widest_disc_mm,
)
from firings.calculations.outlines import Body, octagon_outline

ROUND_SHELF = Shelf("round", 16, diameter_mm=400)


def kiln(shelf: Shelf = ROUND_SHELF, **changes) -> KilnSpace:
    chamber = changes.pop("chamber", Chamber("round", 450, diameter_mm=460))
    stack = Stack("whole", shelf, 4, suggested_post_places(shelf))
    return KilnSpace(chamber, (stack,), (13, 25, 50, 100, 150), **changes)


@pytest.mark.parametrize(
    ("shelf", "area_mm2"),
    [
        (ROUND_SHELF, round(math.pi * 200**2)),
        (Shelf("rectangle", 16, width_mm=400, depth_mm=300), 120_000),
        # Regular octagon, 2 (sqrt 2 - 1) x across flats squared (general geometry).
        (Shelf("octagon", 16, across_flats_mm=400), round(2 * (math.sqrt(2) - 1) * 400**2)),
        (Shelf("half_round", 16, diameter_mm=400, side="left"), round(math.pi * 200**2 / 2)),
    ],
)
def test_shelf_area_is_that_of_the_figure(shelf, area_mm2):
    assert shelf.area_mm2 == area_mm2


def test_half_shelf_loses_the_strip_at_the_cut():
    whole = Shelf("half_round", 16, diameter_mm=400, side="right", cut_at_mm=0)
    cut = Shelf("half_round", 16, diameter_mm=400, side="right", cut_at_mm=3)
    # A strip 3 mm wide through the middle of a 400 mm disc is 1200 mm2 but for its round ends.
    assert whole.area_mm2 - cut.area_mm2 == pytest.approx(1200, abs=1)
    mirrored = Shelf("half_round", 16, diameter_mm=400, side="left", cut_at_mm=-3)
    assert mirrored.area_mm2 == cut.area_mm2


def test_quarter_lines_halve_a_half_shelf():
    shelf = Shelf("half_round", 16, diameter_mm=400, side="left", cut_at_mm=-3)
    x_mm, y_mm = shelf.quarter_lines_mm
    beyond = Shelf("half_round", 16, diameter_mm=400, side="left", cut_at_mm=x_mm)
    assert y_mm == 0
    assert beyond.area_mm2 == pytest.approx(shelf.area_mm2 / 2, abs=1)


@pytest.mark.parametrize(
    ("shelf", "count"),
    [
        (ROUND_SHELF, 3),
        (Shelf("octagon", 16, across_flats_mm=400), 3),
        (Shelf("half_round", 16, diameter_mm=400, side="left", cut_at_mm=-3), 3),
        (Shelf("half_round", 16, diameter_mm=400, side="right", cut_at_mm=3), 3),
        (Shelf("rectangle", 16, width_mm=400, depth_mm=300, centre_mm=(50, 0)), 4),
    ],
)
def test_suggested_posts_stand_wholly_on_the_shelf(shelf, count):
    places = suggested_post_places(shelf, 38)
    post = Body(0.0, 0.0, 19.0)
    assert len(places) == count
    assert all(shelf.outline.overhang_mm(post, *place) <= 0 for place in places)


def test_lowest_posts_stacks_two_when_one_is_not_enough():
    space = kiln()
    assert lowest_posts(space, 12.7) == (13,)
    assert lowest_posts(space, 101) == (100, 13)
    assert lowest_posts(space, 300) == (150, 150)
    assert lowest_posts(space, 301) is None


def test_tallest_piece_stands_on_the_lowest_shelf():
    # 450 mm chamber - 13 mm post - 16 mm shelf - 10 mm of air.
    assert tallest_piece_mm(kiln()) == 411
    assert tallest_piece_mm(kiln(lowest_post_mm=400)) == 0


def test_widest_disc_is_the_inscribed_circle():
    assert widest_disc_mm(kiln()) == 400
    # The wall counts where it is nearer: 460 - 2 x 40 = 380.
    assert widest_disc_mm(kiln(keep_from_wall_mm=40)) == 380
    half = Shelf("half_round", 16, diameter_mm=400, side="right")
    # The greatest circle in a half disc of radius 200 has radius 100 (general geometry).
    assert widest_disc_mm(kiln(half)) == 200


@pytest.mark.parametrize(
    ("footprint", "height_mm", "limits"),
    [
        (Disc(400), 411, []),
        (Disc(400), 412, ["height"]),
        (Disc(401), 411, ["across"]),
        (Disc(401), 412, ["height", "across"]),
        # Half the diagonal of 320 x 240 is 200, the radius of the shelf.
        (Rectangle(320, 240), 100, []),
        (Rectangle(321, 240), 100, ["across"]),
        (None, 412, ["height"]),
    ],
)
def test_refused_piece_says_which_limit(footprint, height_mm, limits):
    found = check_footprint_fits(kiln(), footprint, height_mm)
    assert [limit.limit for limit in found] == limits


def test_limits_carry_the_size_and_the_limit():
    assert check_footprint_fits(kiln(), Disc(450), 500) == (
        SizeLimit("height", (500,), 411),
        SizeLimit("across", (450,), 400),
    )
    (across,) = check_footprint_fits(kiln(), Rectangle(321, 240), 100)
    assert across == SizeLimit("across", (321, 240), 400)


@pytest.mark.parametrize(
    ("make", "named"),
    [
        (lambda: Chamber("round", 450), "diameter_mm is needed"),
        (lambda: Chamber("oval", 450), "shape must be one of"),
        (lambda: Shelf("round", 0, diameter_mm=400), "thickness_mm"),
        (lambda: Shelf("half_round", 16, diameter_mm=400), "side"),
        (
            lambda: Shelf("half_round", 16, diameter_mm=400, side="left", cut_at_mm=-200),
            "cut_at_mm",
        ),
        (lambda: Stack("whole", ROUND_SHELF, 0), "shelves_count"),
        (lambda: kiln(posts_stacked_at_most=0), "posts_stacked_at_most"),
        (lambda: kiln(keep_from_wall_mm=-1), "keep_from_wall_mm"),
        (lambda: KilnSpace(Chamber("round", 450, diameter_mm=460), (), (13,)), "stacks"),
    ],
)
def test_impossible_kilns_name_the_argument(make, named):
    with pytest.raises(ValueError, match=named):
        make()


def test_octagon_flats_face_right_and_back():
    outline = octagon_outline(400)
    point = Body(0.0, 0.0, 0.0)
    assert outline.overhang_mm(point, 200, 0) == pytest.approx(0)
    assert outline.overhang_mm(point, 0, 200) == pytest.approx(0)
    # A corner lies at half across flats / cos(22.5 degrees) from the middle.
    corner = 200 / math.cos(math.pi / 8)
    at = (corner * math.cos(math.pi / 8), corner * math.sin(math.pi / 8))
    assert outline.overhang_mm(point, *at) == pytest.approx(0)
