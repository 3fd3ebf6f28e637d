"""Fits or not: a yes is always a plan that can be made, and the present one is kept."""

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firings.calculations.footprints import Disc, Rectangle
from firings.calculations.kiln_space import Chamber, KilnSpace, Shelf, Stack
from firings.calculations.load_plan import LoadPiece
from firings.calculations.plan_check import check_load
from firings.calculations.planning.fitting import fits
from tests.firings.calculations.planning.kilns import KILNS, ROUND, mixed_ware


def load_pieces(count, seed):
    return [piece.as_load_piece() for piece in mixed_ware(count, seed)]


@settings(max_examples=8, deadline=None)
@given(st.sampled_from(sorted(KILNS)), st.integers(0, 10**6), st.integers(1, 16), st.integers(0, 2))
def test_a_yes_is_a_plan_with_everything_in_it(kiln, seed, count, packs):
    pieces = load_pieces(count, seed)
    plan = fits(KILNS[kiln], pieces, 6, packs)
    if plan is not None:
        assert check_load(KILNS[kiln], pieces, plan, 6) == ()
        assert plan.left_out == ()


def test_what_stands_already_stays_where_it_is():
    pieces = load_pieces(12, 3)
    present = fits(ROUND, pieces, 6)
    more = [*pieces, LoadPiece("new", Disc(60), 50, 99)]
    after = fits(ROUND, more, 6, present=present)
    assert present is not None
    assert after is not None
    assert check_load(ROUND, more, after, 6) == ()
    stood = {put.piece_id: put for layer in present.layers for put in layer.placements}
    stands = {put.piece_id: put for layer in after.layers for put in layer.placements}
    assert all(stands[piece_id] == put for piece_id, put in stood.items())


def test_a_piece_that_left_makes_room():
    pieces = load_pieces(12, 3)
    present = fits(ROUND, pieces, 6)
    fewer = fits(ROUND, pieces[2:], 6, present=present)
    assert fewer is not None
    assert check_load(ROUND, pieces[2:], fewer, 6) == ()


def test_a_piece_that_grew_is_put_down_anew():
    pieces = load_pieces(10, 5)
    present = fits(ROUND, pieces, 6)
    grown = [replace(pieces[0], footprint=Disc(200), height_mm=120), *pieces[1:]]
    plan = fits(ROUND, grown, 6, present=present)
    if plan is not None:
        assert check_load(ROUND, grown, plan, 6) == ()


def test_more_than_the_kiln_holds_does_not_fit():
    assert fits(ROUND, [LoadPiece(f"m{n}", Disc(90), 100, n) for n in range(200)], 6) is None
    assert fits(ROUND, [LoadPiece("wide", Disc(460), 60, 0)], 6) is None


def test_an_empty_load_fits():
    plan = fits(ROUND, [], 6)
    assert plan is not None
    assert plan.layers == ()


def test_the_same_question_gets_the_same_answer():
    pieces = load_pieces(25, 8)
    assert fits(ROUND, pieces, 6) == fits(ROUND, pieces[::-1], 6)


def test_bad_input_is_named():
    with pytest.raises(ValueError, match="cone_pack_layers"):
        fits(ROUND, [], 6, -1)
    with pytest.raises(ValueError, match="gap_mm"):
        fits(ROUND, [], -1)


def flat_kiln(diameter_mm, height_mm=200):
    """One round shelf and no wall to keep away from."""
    stack = Stack("whole", Shelf("round", 16, diameter_mm=diameter_mm), 1)
    chamber = Chamber("round", height_mm, diameter_mm=diameter_mm)
    return KilnSpace(chamber, (stack,), ROUND.post_heights_mm, keep_from_wall_mm=0)


# Radius of the smallest round container of N unit circles: Graham, Lubachevsky, Nurmela,
# Ostergard, "Dense packings of congruent circles in a circle", Discrete Mathematics 181 (1998)
# 139-154; 19 is a best-known radius. A yes needs a little more room, and no more than this.
CONTAINER_RADIUS = {1: 1.0, 2: 2.0, 3: 2.155, 4: 2.414, 7: 3.0, 19: 4.863}


@pytest.mark.parametrize("count", CONTAINER_RADIUS)
def test_equal_circles_fit_near_the_published_container_and_never_below_it(count):
    def answer(share):
        space = flat_kiln(round(CONTAINER_RADIUS[count] * share * 1000) // 10)
        mugs = [LoadPiece(f"mug-{n}", Disc(100), 100, n) for n in range(count)]
        plan = fits(space, mugs, 0, 0)
        assert plan is None or check_load(space, mugs, plan, 0) == ()
        return plan

    assert answer(1.02 if count < 5 else 1.1) is not None
    assert answer(0.98) is None


def test_squares_fill_a_rectangular_shelf_and_one_more_does_not_fit():
    """Eight squares of 150 are the whole of a 600 x 300 shelf (general geometry); these are 148."""
    shelf = Shelf("rectangle", 16, width_mm=600, depth_mm=300)
    chamber = Chamber("rectangle", 200, width_mm=600, depth_mm=300)
    space = KilnSpace(
        chamber, (Stack("whole", shelf, 1),), ROUND.post_heights_mm, keep_from_wall_mm=0
    )
    tiles = [LoadPiece(f"tile-{n}", Rectangle(148, 148), 20, n) for n in range(9)]
    assert fits(space, tiles[:8], 0, 0) is not None
    assert fits(space, tiles, 0, 0) is None


def test_a_rectangle_is_turned_when_only_that_fits():
    shelf = Shelf("rectangle", 16, width_mm=150, depth_mm=340)
    chamber = Chamber("rectangle", 200, width_mm=200, depth_mm=400)
    space = KilnSpace(chamber, (Stack("whole", shelf, 1),), ROUND.post_heights_mm)
    plan = fits(space, [LoadPiece("tray", Rectangle(300, 100), 40, 0)], 6, 0)
    assert plan.layers[0].placements[0].turn_deg == 90


def test_booked_quarters_share_a_shelf_and_a_fifth_does_not_fit():
    quarters = [LoadPiece(f"q{n}", None, 100, n, Fraction(1, 4)) for n in range(5)]
    plan = fits(flat_kiln(400), quarters[:4], 6, 0)
    assert sorted(taken for _, taken in plan.layers[0].fractions) == [(0,), (1,), (2,), (3,)]
    assert fits(flat_kiln(400), quarters, 6, 0) is None


def test_a_yes_has_room_for_the_cones_too():
    plate = [LoadPiece("plate", Disc(300), 30, 0)]
    assert fits(flat_kiln(300), plate, 6, 0) is not None
    assert fits(flat_kiln(300), plate, 6, 1) is None


def test_the_widest_possible_plate_goes_on_the_top_shelf():
    """400 mm is the whole shelf, so nothing can carry a shelf above it."""
    ware = [LoadPiece("plate", Disc(400), 30, 0), LoadPiece("mug", Disc(90), 100, 1)]
    plan = fits(ROUND, ware, 6)
    assert plan.layers[-1].placements[0].piece_id == "plate"
    assert check_load(ROUND, ware, plan, 6) == ()


def test_a_piece_with_one_place_only_finds_it():
    shelf = Shelf("half_round", 16, diameter_mm=441, side="right", cut_at_mm=0)
    space = KilnSpace(
        Chamber("round", 300, diameter_mm=500), (Stack("right", shelf, 1),), ROUND.post_heights_mm
    )
    bowl = [LoadPiece("bowl", Disc(220), 80, 0)]
    assert check_load(space, bowl, fits(space, bowl, 6, 0), 6) == ()
