"""Bisque ware in bundles: what the trade allows, no more than fits, checked by its members."""

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firings.calculations.bisque_bundles import (
    Bundle,
    BundleKind,
    BundleRule,
    Ware,
    bundles_of,
)
from firings.calculations.footprints import Disc, Rectangle
from firings.calculations.load_plan import LoadPiece, LoadPlan, Placement, PlannedLayer
from firings.calculations.plan_check import check_load
from firings.calculations.planning.fitting import fits
from tests.firings.calculations.planning.kilns import ROUND

# Bisque ware may touch, nest and stack rim to rim: a kiln maker's loading guide; 3rd Coast Clay,
# studio guide. Numbers of bowls and tiles, rise and props: common practice, no source.
EVERYTHING = BundleRule(bowls_nested_at_most=3, lids_on_jars=True, tiles_on_edge=True)


def anywhere(footprint, height_mm):
    return True


def bowls(count, across_mm=150, height_mm=60):
    return [Ware(f"b{n}", "Bowl", Disc(across_mm), height_mm) for n in range(count)]


def tiles(count, size=(150, 100), thick_mm=10):
    return [Ware(f"t{n}", "Test tiles", Rectangle(*size), thick_mm) for n in range(count)]


def as_piece(bundle):
    return LoadPiece(bundle.id, bundle.footprint, bundle.height_mm, 1)


def faults(bundles, pieces=None):
    pieces = pieces or [as_piece(one) for one in bundles]
    plan = fits(ROUND, pieces, 0, 0)
    return check_load(ROUND, pieces, plan, 0, bundles=bundles)


def test_nothing_is_bundled_unless_the_studio_says_so():
    ware = [*bowls(3), *tiles(4)]
    assert bundles_of(ware, BundleRule(), may_stand=anywhere) == ()


def test_like_bowls_nest_as_many_as_allowed():
    made = bundles_of(bowls(5), EVERYTHING, may_stand=anywhere)
    assert [[ware.id for ware in one.members] for one in made] == [["b0", "b1", "b2"], ["b3", "b4"]]
    # 60 mm and twice a third of it
    assert [one.height_mm for one in made] == [100, 80]
    assert made[0].footprint == Disc(150)
    assert faults(made) == ()


def test_unlike_or_closed_bowls_do_not_nest():
    other = replace(bowls(1)[0], id="other", height_mm=70)
    deep = [Ware(f"d{n}", "Bowl", Disc(80), 120) for n in range(2)]
    assert bundles_of([*bowls(1), other, *deep], EVERYTHING, may_stand=anywhere) == ()


def test_a_lid_goes_on_the_narrowest_jar_that_carries_it():
    jars = [Ware("j1", "Jar", Disc(140), 160), Ware("j2", "Jar", Disc(110), 120)]
    lids = [Ware("l1", "Jar lid", Disc(105), 30), Ware("l2", "Lid", Disc(150), 30)]
    made = bundles_of([*jars, *lids], EVERYTHING, may_stand=anywhere)
    assert [(one.kind, one.id, one.rider_ids) for one in made] == [(BundleKind.LID, "j2", ("l1",))]
    assert made[0].height_mm == 150
    assert faults(made) == ()


def test_tiles_stand_in_a_row_on_edge_with_room_for_props():
    made = bundles_of(tiles(5), EVERYTHING, may_stand=anywhere)
    assert len(made) == 1
    # five of 10 mm and 30 mm at either end, as long as a tile is, as high as it is wide
    assert (made[0].footprint, made[0].height_mm) == (Rectangle(150, 110), 100)
    assert faults(made) == ()
    assert bundles_of(tiles(2), EVERYTHING, may_stand=anywhere) == ()


def test_no_bundle_is_made_that_does_not_go_into_the_kiln():
    made = bundles_of(bowls(3), EVERYTHING, may_stand=lambda _, height_mm: height_mm <= 80)
    assert [len(one.members) for one in made] == [2]


@given(st.integers(0, 9), st.integers(0, 9), st.integers(1, 6))
def test_every_piece_is_in_one_bundle_at_most_and_the_check_agrees(many, flat, most):
    rule = replace(EVERYTHING, bowls_nested_at_most=most)
    ware = [
        *bowls(many),
        *tiles(flat),
        Ware("j", "Jar", Disc(90), 90),
        Ware("l", "Lid", Disc(90), 9),
    ]
    made = bundles_of(ware, rule, may_stand=anywhere)
    ids = [one.id for bundle in made for one in bundle.members]
    assert len(ids) == len(set(ids))
    assert set(ids) <= {one.id for one in ware}
    layer = PlannedLayer("whole", 1, (13,), 13, ())
    plan = LoadPlan((layer,), ())
    told = check_load(ROUND, [as_piece(one) for one in made], plan, 0, bundles=made)
    assert all("neither on a shelf nor left out" in fault for fault in told)


@pytest.mark.parametrize(
    ("bundle", "planned", "word"),
    [
        (Bundle(BundleKind.NEST, tuple(bowls(3))), (Disc(150), 60), "100 mm high"),
        (Bundle(BundleKind.NEST, tuple(bowls(2))), (Disc(100), 80), "smaller than it is"),
        (
            Bundle(BundleKind.NEST, (*bowls(1), Ware("w", "Bowl", Disc(180), 60))),
            (Disc(150), 80),
            "wider than",
        ),
        (Bundle(BundleKind.EDGE, tuple(tiles(4))), (Rectangle(150, 30), 100), "150 by 40 mm"),
        (Bundle(BundleKind.EDGE, tuple(tiles(4))), (Rectangle(150, 100), 90), "100 mm high"),
        (Bundle(BundleKind.EDGE, tuple(bowls(2))), (Disc(150), 100), "no tile"),
    ],
)
def test_the_check_sees_a_bundle_that_is_planned_too_small(bundle, planned, word):
    put = Placement(bundle.id, 0, 0)
    plan = LoadPlan((PlannedLayer("whole", 1, (13,), 13, (put,)),), ())
    told = check_load(ROUND, [LoadPiece(bundle.id, *planned, 1)], plan, 0, bundles=[bundle])
    assert any(word in fault for fault in told)


def test_what_rides_cannot_stand_by_itself_too():
    made = bundles_of(bowls(2), EVERYTHING, may_stand=anywhere)
    twice = [as_piece(made[0]), LoadPiece("b1", Disc(150), 60, 1)]
    assert any("by itself too" in fault for fault in faults(made, twice))


def test_what_cannot_be_is_named():
    with pytest.raises(ValueError, match="bowls_nested_at_most"):
        BundleRule(bowls_nested_at_most=0)
    with pytest.raises(ValueError, match="members"):
        Bundle(BundleKind.NEST, tuple(bowls(1)))
