"""The fullest shelf against published packings of rectangles in a circle.

Here all circles of the set with 10 rectangles and two each of the sets with 20 and 30, which is
seven of twelve; `python -m tests.benchmarks.shelf_packing` prints the whole table, the set of 100
included.
"""

import math

import pytest

from firings.calculations.footprints import Disc, Footprint, Rectangle, area_mm2
from firings.calculations.kiln_space import Chamber, KilnSpace, Shelf, Stack
from firings.calculations.load_plan import LoadPiece, LoadPlan, PlannedLayer
from firings.calculations.outlines import round_outline
from firings.calculations.plan_check import check_load
from firings.calculations.planning.fullest_shelf import fuller_and_fuller, pack_best
from firings.calculations.planning.region import Region, shelf_region
from tests.published_packings import RECTANGLE_SETS, in_hundredths

# More than enough for 99 %: a run ends as soon as it is there.
STEPS = 200_000
CONTAINERS = [
    *(("rect1", number) for number in range(3)),
    ("rect2", 0),
    ("rect2", 2),
    ("rect3", 0),
    ("rect3", 1),
]


def round_region(radius_mm: int) -> Region:
    bounds_mm = (-radius_mm, -radius_mm, radius_mm, radius_mm)
    area = round(math.pi * radius_mm**2)
    return Region(round_outline(2 * radius_mm), (), bounds_mm, area)


def round_kiln(radius_mm: int) -> KilnSpace:
    """One round shelf and no wall to keep away from."""
    return KilnSpace(
        Chamber("round", 200, diameter_mm=2 * radius_mm),
        (Stack("whole", Shelf("round", 16, diameter_mm=2 * radius_mm), 1),),
        (50,),
        keep_from_wall_mm=0,
    )


def faults(space: KilnSpace, pieces: dict[str, Footprint], placements, gap_mm) -> tuple[str, ...]:
    standing = {put.piece_id for put in placements}
    load_pieces = [
        LoadPiece(piece_id, size, 20, 0)
        for piece_id, size in pieces.items()
        if piece_id in standing
    ]
    layer = PlannedLayer("whole", 1, (50,), 50, placements)
    return check_load(space, load_pieces, LoadPlan((layer,), ()), gap_mm)


@pytest.mark.parametrize(("name", "number"), CONTAINERS)
def test_rectangles_fill_a_circle_to_99_percent_of_the_published_area(name, number):
    # Sets of Lopez and Beasley 2018, areas of Bouzid and Salhi 2020.
    radius_mm, published_mm2, pieces = in_hundredths(RECTANGLE_SETS[name], number)
    filled_mm2 = 0
    for _, placements in fuller_and_fuller(round_region(radius_mm), pieces, 0, seed=1, steps=STEPS):
        filled_mm2 = sum(area_mm2(pieces[put.piece_id]) for put in placements)
        if filled_mm2 >= 0.99 * published_mm2:
            break
    assert filled_mm2 >= 0.99 * published_mm2
    assert faults(round_kiln(radius_mm), pieces, placements, 0) == ()


WARE: dict[str, Footprint] = {
    "plate": Disc(270),
    "bowl": Disc(180),
    "jug": Disc(120),
    "mug": Disc(90),
    "cup": Disc(80),
    "tray": Rectangle(220, 90),
    "tile": Rectangle(100, 100),
}
SPACE = KilnSpace(
    Chamber("round", 500, diameter_mm=457),
    (Stack("whole", Shelf("round", 16, diameter_mm=430), 1),),
    (50,),
)
REGION = shelf_region(SPACE, SPACE.stacks[0], carries=False)


@pytest.mark.parametrize("may_turn", ["quarter", "any"])
def test_each_answer_is_fuller_than_the_one_before_and_can_be_made(may_turn):
    areas = []
    answers = fuller_and_fuller(REGION, WARE, 6, seed=3, steps=1200, may_turn=may_turn)
    for _, placements in answers:
        assert faults(SPACE, WARE, placements, 6) == ()
        areas.append(sum(area_mm2(WARE[put.piece_id]) for put in placements))
    assert areas
    assert areas == sorted(set(areas))


def test_same_seed_gives_the_same_answer():
    one = pack_best(REGION, WARE, 6, seed=5, steps=600)
    assert one == pack_best(REGION, WARE, 6, seed=5, steps=600)


def test_everything_is_taken_when_there_is_room():
    few: dict[str, Footprint] = {"jug": Disc(120), "mug": Disc(90), "tile": Rectangle(60, 60)}
    placements = pack_best(REGION, few, 6, seed=1, steps=600)
    assert {put.piece_id for put in placements} == set(few)


def test_what_fits_on_no_shelf_is_left_out():
    placements = pack_best(REGION, {"mug": Disc(90), "platter": Disc(500)}, 6, seed=1, steps=600)
    assert [put.piece_id for put in placements] == ["mug"]


def test_no_pieces_fill_nothing():
    assert pack_best(REGION, {}, 6, seed=1, steps=60) == ()


@pytest.mark.parametrize(
    ("changed", "complaint"),
    [
        ({"steps": 0}, "steps must be 1 or more, got 0"),
        ({"gap_mm": 201}, "gap_mm must lie between 0 and 200 mm, got 201"),
        ({"may_turn": "half"}, "may_turn must be quarter or any, got 'half'"),
    ],
)
def test_bad_input_is_refused(changed, complaint):
    arguments = {"gap_mm": 6, "seed": 1, "steps": 60} | changed
    gap_mm = arguments.pop("gap_mm")
    with pytest.raises(ValueError, match=complaint):
        pack_best(REGION, WARE, gap_mm, **arguments)
