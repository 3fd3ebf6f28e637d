"""Squeezed shelves judged by the checker of plans, which shares no geometry with the squeeze."""

import math
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firings.calculations import plan_check
from firings.calculations.footprints import Disc, Footprint, Rectangle, area_mm2
from firings.calculations.kiln_space import (
    Chamber,
    KilnSpace,
    Shelf,
    Stack,
    suggested_post_places,
)
from firings.calculations.load_plan import LoadPiece, LoadPlan, Placement, PlannedLayer
from firings.calculations.outlines import Circle
from firings.calculations.planning.region import Region, shelf_region
from firings.calculations.planning.squeeze import cannot_fit, squeeze


def kiln(chamber: Chamber, shelf: Shelf, posts: tuple[tuple[float, float], ...] = ()) -> KilnSpace:
    places = posts or suggested_post_places(shelf)
    return KilnSpace(chamber, (Stack("whole", shelf, 2, places),), (50, 100))


ROUND = kiln(Chamber("round", 500, diameter_mm=457), Shelf("round", 16, diameter_mm=430))
KILNS = {
    "round": ROUND,
    "eight-sided": kiln(
        Chamber("octagon", 500, across_flats_mm=450), Shelf("octagon", 16, across_flats_mm=420)
    ),
    "half": kiln(
        Chamber("round", 500, diameter_mm=500),
        Shelf("half_round", 16, diameter_mm=470, side="right", cut_at_mm=3),
    ),
    "front": kiln(
        Chamber("rectangle", 500, width_mm=500, depth_mm=420),
        Shelf("rectangle", 16, width_mm=460, depth_mm=400),
    ),
}


def region_of(space: KilnSpace) -> Region:
    return shelf_region(space, space.stacks[0], carries=True)


def faults(space: KilnSpace, pieces: dict[str, Footprint], placements, gap_mm) -> tuple[str, ...]:
    """What the checker has to say of these pieces on the lower of two shelves."""
    layers = (
        PlannedLayer("whole", 1, (50,), 50, placements),
        PlannedLayer("whole", 2, (100,), 166, ()),
    )
    load_pieces = [LoadPiece(piece_id, size, 20, 0) for piece_id, size in pieces.items()]
    return plan_check.check_load(space, load_pieces, LoadPlan(layers, ()), gap_mm)


@pytest.fixture(scope="module", autouse=True)
def _exact_checker():
    """The checker forgives 0.01 mm; here only what the squeeze promises."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(plan_check, "TOLERANCE_MM", 2e-6)
        yield


def some_ware(count: int, seed: int, rectangles: float = 0.3) -> dict[str, Footprint]:
    random = Random(seed)
    return {
        f"p{number}": Rectangle(random.randrange(50, 150, 5), random.randrange(50, 150, 5))
        if random.random() < rectangles
        else Disc(random.randrange(60, 170, 5))
        for number in range(count)
    }


def ware_to_fill(share: float, seed: int, shelf_mm2: int) -> dict[str, Footprint]:
    """Ware that covers nearly this share of a shelf."""
    for attempt in range(1000):
        ware = some_ware(4 + attempt % 6, seed * 1000 + attempt)
        covered = sum(area_mm2(size) for size in ware.values()) / shelf_mm2
        if share - 0.03 <= covered <= share:
            return ware
    raise AssertionError(f"no ware found that covers {share} of {shelf_mm2} mm2")


footprints = st.one_of(
    st.builds(Disc, st.integers(20, 220)),
    st.builds(Rectangle, st.integers(20, 250), st.integers(20, 250)),
)
sets = st.lists(footprints, min_size=1, max_size=12).map(
    lambda sizes: {f"p{number}": size for number, size in enumerate(sizes)}
)


@settings(max_examples=60, deadline=None)
@given(
    st.sampled_from(sorted(KILNS)),
    sets,
    st.sampled_from([0, 3, 6, 15.5]),
    st.sampled_from(["quarter", "any"]),
    st.integers(0, 9),
)
def test_whatever_is_squeezed_in_passes_the_checker(name, pieces, gap_mm, may_turn, seed):
    region = region_of(KILNS[name])
    placements = squeeze(region, pieces, gap_mm, seed=seed, steps=120, may_turn=may_turn)
    if placements is not None:
        assert [put.piece_id for put in placements] == list(pieces)
        assert faults(KILNS[name], pieces, placements, gap_mm) == ()


@pytest.mark.parametrize("may_turn", ["quarter", "any"])
@pytest.mark.parametrize("name", sorted(KILNS))
def test_a_well_filled_shelf_is_found_and_passes_the_checker(name, may_turn):
    region = region_of(KILNS[name])
    pieces = ware_to_fill(0.55, 3, region.area_mm2)
    placements = squeeze(region, pieces, 6, seed=1, steps=2400, may_turn=may_turn)
    assert placements is not None
    assert faults(KILNS[name], pieces, placements, 6) == ()


def test_the_checker_finds_a_spoiled_answer():
    # The control: two pieces pushed together until a hundredth of a millimetre is lacking.
    pieces: dict[str, Footprint] = {"left": Disc(100), "right": Disc(90)}
    placements = squeeze(region_of(ROUND), pieces, 6, seed=1, steps=600)
    assert placements is not None
    left, right = placements
    apart_mm = math.dist((left.x_mm, left.y_mm), (right.x_mm, right.y_mm))
    share = (50 + 45 + 6 - 0.01) / apart_mm
    x_mm = left.x_mm + (right.x_mm - left.x_mm) * share
    y_mm = left.y_mm + (right.y_mm - left.y_mm) * share
    close = (left, Placement("right", x_mm, y_mm))
    assert any("5.99 mm apart" in fault for fault in faults(ROUND, pieces, close, 6))


@pytest.mark.parametrize("may_turn", ["quarter", "any"])
def test_nothing_stands_on_what_is_in_the_way(may_turn):
    pieces = ware_to_fill(0.4, 8, region_of(ROUND).area_mm2)
    # A locked tray of 100 x 60 mm in the middle, 6 mm away from everything.
    placements = squeeze(
        region_of(ROUND),
        pieces,
        6,
        seed=2,
        steps=2400,
        in_the_way=[(0.0, 0.0, 50.0, 30.0, 6.0)],
        may_turn=may_turn,
    )
    assert placements is not None
    with_tray = pieces | {"tray": Rectangle(100, 60)}
    assert faults(ROUND, with_tray, (*placements, Placement("tray", 0.0, 0.0)), 6) == ()


@pytest.mark.parametrize("may_turn", ["quarter", "any"])
def test_same_seed_gives_the_same_answer(may_turn):
    region = region_of(ROUND)
    pieces = ware_to_fill(0.5, 5, region.area_mm2)
    one = squeeze(region, pieces, 6, seed=7, steps=600, may_turn=may_turn)
    assert one is not None
    assert one == squeeze(region, pieces, 6, seed=7, steps=600, may_turn=may_turn)


def turned(region: Region, quarters: int, is_mirrored: bool) -> Region:
    posts = []
    for post in region.posts:
        x, y = (-post.x_mm if is_mirrored else post.x_mm), post.y_mm
        for _ in range(quarters):
            x, y = -y, x
        posts.append(Circle(x, y, post.radius_mm))
    return Region(region.outline, tuple(posts), region.bounds_mm, region.area_mm2)


@pytest.mark.parametrize(("quarters", "is_mirrored"), [(1, False), (2, False), (3, True)])
def test_a_turned_or_mirrored_shelf_takes_the_same_sets(quarters, is_mirrored):
    region = region_of(ROUND)
    other = turned(region, quarters, is_mirrored)
    sets_of_ware = [ware_to_fill(0.55, seed, region.area_mm2) for seed in range(12)]
    for pieces in sets_of_ware:
        one = squeeze(region, pieces, 6, seed=1, steps=2400)
        assert (one is None) == (squeeze(other, pieces, 6, seed=1, steps=2400) is None)


def test_free_turns_find_room_where_quarter_turns_cannot():
    # A bar of 580 x 30 mm on a square shelf of 460 mm: along the diagonal of 650 mm only.
    space = kiln(
        Chamber("rectangle", 500, width_mm=500, depth_mm=500),
        Shelf("rectangle", 16, width_mm=460, depth_mm=460),
    )
    top = shelf_region(space, space.stacks[0], carries=False)
    bar: dict[str, Footprint] = {"bar": Rectangle(580, 30)}
    assert squeeze(top, bar, 0, seed=1, steps=600) is None
    placements = squeeze(top, bar, 0, seed=1, steps=600, may_turn="any")
    assert placements is not None
    assert placements[0].turn_deg % 90 == pytest.approx(45, abs=3)


def test_a_start_that_already_stands_is_kept():
    pieces = {"left": Disc(100), "right": Rectangle(90, 60)}
    start = (Placement("left", -60.0, 5.0), Placement("right", 55.0, 0.0, 90))
    assert squeeze(region_of(ROUND), pieces, 6, seed=1, steps=60, start=start) == start


def test_three_discs_that_just_fit_side_by_side_are_found():
    # Three equal circles of radius r need a circle of radius (1 + 2 / sqrt 3) r, 2.1547 r
    # (Graham, Lubachevsky, Nurmela, Ostergard 1998): 93 mm and 3 mm of spacing in 215 + 3 mm.
    top = shelf_region(ROUND, ROUND.stacks[0], carries=False)
    around_mm = min(circle.radius_mm for circle in top.outline.circles)
    radius_mm = math.floor((around_mm + 3) / (1 + 2 / math.sqrt(3)) - 3)
    fitting: dict[str, Footprint] = {name: Disc(2 * radius_mm) for name in "abc"}
    assert squeeze(top, fitting, 6, seed=1, steps=600) is not None
    too_big: dict[str, Footprint] = {name: Disc(2 * radius_mm + 2) for name in "abc"}
    assert squeeze(top, too_big, 6, seed=1, steps=600) is None


def test_no_pieces_need_no_place():
    assert squeeze(region_of(ROUND), {}, 6, seed=1, steps=1) == ()


@pytest.mark.parametrize(
    "pieces",
    [
        {"plate": Disc(440)},
        {"one": Disc(215), "other": Disc(212)},
        {f"p{number}": Disc(90) for number in range(20)},
        {"bar": Rectangle(440, 20)},
    ],
)
def test_what_cannot_fit_is_refused_without_a_search(pieces):
    assert cannot_fit(region_of(ROUND), pieces, 6)


@settings(max_examples=40, deadline=None)
@given(st.sampled_from(sorted(KILNS)), st.integers(0, 500))
def test_a_set_that_was_placed_is_never_refused(name, seed):
    region = region_of(KILNS[name])
    pieces = some_ware(5, seed)
    if squeeze(region, pieces, 6, seed=1, steps=60) is not None:
        assert not cannot_fit(region, pieces, 6)


@pytest.mark.parametrize(
    ("changed", "complaint"),
    [
        ({"steps": 0}, "steps must be 1 or more, got 0"),
        ({"gap_mm": -1}, "gap_mm must lie between 0 and 200 mm, got -1"),
        ({"may_turn": "half"}, "may_turn must be quarter or any, got 'half'"),
    ],
)
def test_bad_input_is_refused(changed, complaint):
    arguments = {"gap_mm": 6, "seed": 1, "steps": 60} | changed
    gap_mm = arguments.pop("gap_mm")
    with pytest.raises(ValueError, match=complaint):
        squeeze(region_of(ROUND), {"mug": Disc(90)}, gap_mm, **arguments)
