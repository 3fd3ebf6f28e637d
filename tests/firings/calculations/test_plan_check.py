"""The checker: a good plan passes, and each way to spoil it is told."""

from dataclasses import replace
from fractions import Fraction

import pytest

from firings.calculations.footprints import Disc, Rectangle
from firings.calculations.kiln_space import Chamber, KilnSpace, Shelf, Stack
from firings.calculations.load_plan import (
    LeftOut,
    LoadPiece,
    LoadPlan,
    Placement,
    PlannedLayer,
    WhyLeftOut,
)
from firings.calculations.plan_check import check_load

SPACE = KilnSpace(
    Chamber("rectangle", 400, width_mm=460, depth_mm=460),
    (
        Stack(
            "whole",
            Shelf("rectangle", 20, width_mm=400, depth_mm=400),
            2,
            ((-180, -180), (180, -180), (180, 180), (-180, 180)),
        ),
    ),
    (20, 50, 100, 150),
)
PIECES = (
    LoadPiece("mug", Disc(90), 100, 0),
    LoadPiece("tray", Rectangle(200, 100), 40, 1),
    LoadPiece("vase", Disc(100), 140, 2),
    LoadPiece("corner", None, 60, 3, Fraction(1, 4)),
    LoadPiece("tile", Rectangle(60, 60), 10, 4),
)
LOWER = PlannedLayer(
    "whole",
    1,
    (20,),
    20,
    (Placement("mug", -100, 0), Placement("tray", 60, 0, 90)),
)
# 40 mm to the top of the lower shelf + 150 mm of posts.
UPPER = PlannedLayer(
    "whole",
    2,
    (150,),
    190,
    (Placement("vase", -120, -120),),
    (("corner", (0,)),),
    cone_pack=Placement("", 100, -100),
)
GOOD = LoadPlan((LOWER, UPPER), (LeftOut("tile", WhyLeftOut.NO_ROOM),))


def faults(plan: LoadPlan, space: KilnSpace = SPACE) -> tuple[str, ...]:
    return check_load(space, PIECES, plan, 6)


def with_lower(**changes) -> LoadPlan:
    return replace(GOOD, layers=(replace(LOWER, **changes), UPPER))


def with_upper(**changes) -> LoadPlan:
    return replace(GOOD, layers=(LOWER, replace(UPPER, **changes)))


def test_a_good_plan_has_no_faults():
    assert faults(GOOD) == ()


TRAY = Placement("tray", 60, 0, 90)


@pytest.mark.parametrize(
    ("plan", "fault"),
    [
        (
            with_lower(placements=(Placement("mug", 0, 0), TRAY)),
            "mug and tray on layer 1 overlap by 35.00 mm.",
        ),
        (
            with_lower(placements=(Placement("mug", -40, 0), TRAY)),
            "mug and tray on layer 1 are 5.00 mm apart; 6 mm are needed.",
        ),
        (
            with_lower(placements=(Placement("mug", -160, 0), TRAY)),
            "mug on layer 1 sticks out over the edge of the shelf by 5.00 mm.",
        ),
        (
            with_lower(placements=(Placement("mug", -120, -120), TRAY)),
            # 84.85 mm between the middles, less 45 and 19 mm.
            "mug on layer 1 is 20.85 mm from the post at (-180, -180); 30 mm are needed.",
        ),
        (
            with_lower(placements=(Placement("mug", -100, 0), replace(TRAY, turn_deg=45))),
            None,
        ),
        (
            with_upper(post_mm=(100,), shelf_bottom_mm=140),
            "mug on layer 1 is 100 mm high; 90 mm are free.",
        ),
        (
            with_upper(post_mm=(100, 100), shelf_bottom_mm=240),
            "vase on layer 2 is 140 mm high; 130 mm are free.",
        ),
        (with_lower(post_mm=(), shelf_bottom_mm=0), "There are no posts under layer 1."),
        (
            with_upper(post_mm=(155,), shelf_bottom_mm=195),
            "The studio has no posts of 155 mm, needed under layer 2.",
        ),
        (
            with_upper(post_mm=(50, 50, 50)),
            "3 posts stand on top of each other under layer 2; at most 2 may.",
        ),
        (
            with_upper(shelf_bottom_mm=200),
            "The underside of layer 2 is given as 200 mm; its posts carry it at 190 mm.",
        ),
        (
            with_upper(index=3),
            "The shelves of whole are not numbered 1 to 2 from the bottom.",
        ),
        (
            with_upper(stack="attic"),
            "This kiln has no tower of shelves called attic.",
        ),
        (
            with_upper(placements=(Placement("vase", -120, -120), Placement("mug", -120, 100))),
            "mug is in the plan 2 times.",
        ),
        (
            with_upper(placements=()),
            "vase is neither on a shelf nor left out.",
        ),
        (
            with_upper(placements=(*UPPER.placements, Placement("ghost", 0, 0))),
            "ghost is in the plan but was not to be planned.",
        ),
        (
            with_upper(fractions=(("corner", (0,)), ("tile", (0,)))),
            "Quarter 0 of layer 2 is taken 2 times.",
        ),
        (
            with_upper(fractions=(("corner", (0, 2)),)),
            "The two quarters of corner on layer 2 are not beside each other.",
        ),
        (
            with_upper(fractions=(("corner", (1, 2)),)),
            "corner has 2 quarters; it booked 1/4 shelf.",
        ),
        (with_upper(fractions=(("corner", (7,)),)), "Layer 2 has no quarter 7."),
        (
            with_upper(fractions=(("corner", (2,)),)),
            "vase on layer 2 stands in quarter 2, which is booked.",
        ),
        (
            with_upper(fractions=(("corner", (3,)),)),
            "the cone pack on layer 2 stands in quarter 3, which is booked.",
        ),
        (
            with_upper(fractions=(), placements=(*UPPER.placements, Placement("corner", 100, 100))),
            "corner is a booked part of a shelf and cannot stand as a piece.",
        ),
        (
            with_upper(cone_pack=Placement("", -120, -120)),
            "vase and the cone pack on layer 2 overlap by 70.00 mm.",
        ),
    ],
)
def test_each_spoiled_plan_is_told(plan, fault):
    wide_posts = replace(SPACE, gap_to_posts_mm=30)
    if fault is None:
        assert faults(plan) == ()
    elif "from the post" in fault:
        assert fault in faults(plan, wide_posts)
    else:
        assert fault in faults(plan)


@pytest.mark.parametrize(
    ("changes", "fault"),
    [
        (
            {"keep_from_wall_mm": 90},
            "mug on layer 1 is 5.00 mm too near the wall of the chamber.",
        ),
        (
            {"lowest_post_mm": 25},
            "Layer 1 stands 20 mm above the floor; the bottom shelf needs at least 25 mm.",
        ),
        (
            {"stacks": (replace(SPACE.stacks[0], shelves_count=1),)},
            "whole needs 2 shelves; the studio has 1 for it.",
        ),
        (
            {"stacks": (replace(SPACE.stacks[0], post_places_mm=()),)},
            "whole has places for 0 posts; a shelf above another needs 3.",
        ),
        (
            {"chamber": Chamber("rectangle", 200, width_mm=460, depth_mm=460)},
            "The top of layer 2 is at 210 mm; the chamber is 200 mm high.",
        ),
    ],
)
def test_the_same_plan_fails_in_another_kiln(changes, fault):
    assert fault in faults(GOOD, replace(SPACE, **changes))


def test_a_booked_fraction_has_head_room_too():
    low = replace(SPACE, chamber=Chamber("rectangle", 270, width_mm=460, depth_mm=460))
    assert "corner may be 60 mm high; 50 mm are free." in faults(GOOD, low)


def test_pieces_of_two_towers_are_compared_where_their_heights_meet():
    shelves = [
        Shelf("half_round", 20, diameter_mm=400, side=side, cut_at_mm=cut)
        for side, cut in (("left", -3), ("right", 3))
    ]
    stacks = tuple(Stack(shelf.side, shelf, 1) for shelf in shelves)
    space = KilnSpace(Chamber("round", 400, diameter_mm=460), stacks, (20, 50, 100))
    pieces = [LoadPiece("a", Disc(90), 60, 0), LoadPiece("b", Disc(90), 60, 0)]

    def plan(right_post_mm: int) -> LoadPlan:
        left = PlannedLayer("left", 1, (20,), 20, (Placement("a", -48, 0),))
        right = PlannedLayer("right", 1, (right_post_mm,), right_post_mm, (Placement("b", 48, 0),))
        return LoadPlan((left, right), ())

    assert check_load(space, pieces, plan(20), 6) == ()
    told = "a and b on layer 1 on the left are 6.00 mm apart; 10 mm are needed."
    assert check_load(space, pieces, plan(20), 10) == (told,)
    assert check_load(space, pieces, plan(100), 10) == ()
