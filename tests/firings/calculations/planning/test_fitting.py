"""Fits or not: a yes is always a plan that can be made, and the present one is kept."""

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firings.calculations.footprints import Disc
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
