"""No plan beats a bound, and a bound says what arithmetic on the published tables says."""

import math
from dataclasses import dataclass
from datetime import date
from fractions import Fraction
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firings.calculations.footprints import Disc, Footprint, Rectangle
from firings.calculations.kiln_space import Chamber, KilnSpace, Shelf, Stack, suggested_post_places
from firings.calculations.planning.bounds import firings_bound, load_area_bound_mm2
from firings.calculations.planning.load_search import improve_load
from firings.calculations.planning.piece_features import footprint_mm2
from firings.calculations.planning.problem import AREA_ONLY, QueuePiece
from firings.calculations.planning.shelf_capacity import capacity_of, polygon_around

POSTS_MM = (13, 25, 38, 50, 75, 100, 150)


@dataclass(frozen=True)
class Ware:
    """A piece as the bounds see it."""

    footprint: Footprint | None
    height_mm: int = 60
    stage: str = "glaze"
    cone: str = "6"
    fraction: Fraction | None = None


def kiln(shelf: Shelf, shelves: int = 1, height_mm: int = 400, across_mm: int = 1000) -> KilnSpace:
    stack = Stack("whole", shelf, shelves, suggested_post_places(shelf))
    return KilnSpace(Chamber("round", height_mm, diameter_mm=across_mm), (stack,), POSTS_MM)


def round_kiln(diameter_mm: int = 400, shelves: int = 1, height_mm: int = 400) -> KilnSpace:
    return kiln(Shelf("round", 16, diameter_mm=diameter_mm), shelves, height_mm)


# Graham, Lubachevsky, Nurmela, Ostergard, Discrete Mathematics 181 (1998) 139-154: the smallest
# radius of a circle that holds N unit circles, proven for N <= 14.
SMALLEST_RADII = {
    2: 2.0,
    3: 2.1547,
    4: 2.4142,
    5: 2.7013,
    7: 3.0,
    8: 3.3048,
    10: 3.8130,
    13: 4.2361,
}


@pytest.mark.parametrize(("count", "radius"), SMALLEST_RADII.items())
def test_so_many_equal_discs_fit_on_a_round_shelf_and_no_more(count: int, radius: float) -> None:
    capacity = capacity_of(round_kiln(1000 - 100), round_kiln(1000 - 100).stacks[0], 0.0)
    assert capacity.most_pieces(450 / radius * 0.999) >= count
    assert capacity.most_pieces(450 / radius * 1.001) < count


def test_a_square_shelf_holds_no_more_discs_than_the_hexagonal_packing_and_its_border() -> None:
    """Oler's inequality: 20 x 20 discs on a square grid are possible, 480 are not."""
    square = kiln(Shelf("rectangle", 16, width_mm=1000, depth_mm=1000), across_mm=1900)
    most = capacity_of(square, square.stacks[0], 0.0).most_pieces(25.0)
    assert 400 <= most < 480


@pytest.mark.parametrize("shape", ["round", "octagon", "half_round"])
def test_the_polygon_around_a_shelf_is_hardly_larger(shape: str) -> None:
    sizes = {"across_flats_mm": 400} if shape == "octagon" else {"diameter_mm": 400}
    side = {"side": "right", "cut_at_mm": 3} if shape == "half_round" else {}
    shelf = Shelf(shape, 16, **sizes, **side)  # type: ignore[arg-type]
    polygon = polygon_around(shelf.outline, shelf.bounds_mm)
    sides = zip(polygon, [*polygon[1:], polygon[0]], strict=True)
    area = abs(sum(ax * by - bx * ay for (ax, ay), (bx, by) in sides)) / 2
    assert shelf.area_mm2 - 1 <= area <= shelf.area_mm2 * 1.001


def test_plates_that_need_a_shelf_each_need_as_many_firings_as_shelves_divide() -> None:
    """Four shelves a firing, nine plates wider than half a shelf: three firings, by counting."""
    plates = [Ware(Disc(260), 30)] * 9
    assert firings_bound(round_kiln(shelves=4), plates, {"glaze": 6}) == 3


def test_tall_vases_need_a_firing_each_when_only_one_shelf_can_be_so_high() -> None:
    """400 mm under the lid: a vase of 250 mm leaves no room for a second; two fit no shelf."""
    vases = [Ware(Disc(210), 250)] * 3
    assert firings_bound(round_kiln(shelves=4), vases, {"glaze": 6}) == 3


def test_stages_and_cones_never_share_a_firing() -> None:
    pieces = [Ware(Disc(80)), Ware(Disc(80), stage="bisque", cone="04"), Ware(Disc(80), cone="10")]
    assert firings_bound(round_kiln(), pieces, {"glaze": 6, "bisque": 0}) == 3


def test_a_load_is_worth_all_its_ware_when_all_of_it_fits() -> None:
    pieces = [Ware(Disc(100))] * 4
    bound = load_area_bound_mm2(round_kiln(), pieces, 6)
    assert bound == pytest.approx(4 * math.pi * 50**2)


def test_only_one_of_two_plates_counts_on_one_shelf() -> None:
    plates = [Ware(Disc(260)), Ware(Disc(280))]
    bound = load_area_bound_mm2(round_kiln(), plates, 6)
    assert bound == pytest.approx(math.pi * 140**2, rel=1e-4)


def test_nothing_is_worth_nothing() -> None:
    assert load_area_bound_mm2(round_kiln(), [], 6) == 0


def test_a_booked_quarter_counts_as_a_quarter_of_a_shelf() -> None:
    quarters = [Ware(None, 80, fraction=Fraction(1, 4))] * 6
    bound = load_area_bound_mm2(round_kiln(), quarters, 6)
    four = 4 * footprint_mm2(round_kiln(), quarters[0])
    assert four <= bound < 1.5 * four


def test_a_shorter_search_gives_a_bound_that_is_no_closer() -> None:
    random = Random(4)
    pieces = [Ware(Disc(random.randint(60, 200)), random.randint(30, 150)) for _ in range(40)]
    space = round_kiln(shelves=4)
    assert load_area_bound_mm2(space, pieces, 6, nodes=0) >= load_area_bound_mm2(space, pieces, 6)


HALVES = KilnSpace(
    Chamber("round", 450, diameter_mm=450),
    tuple(
        Stack(side, shelf, 3, suggested_post_places(shelf))
        for side, shelf in (
            ("left", Shelf("half_round", 16, diameter_mm=400, side="left", cut_at_mm=-3)),
            ("right", Shelf("half_round", 16, diameter_mm=400, side="right", cut_at_mm=3)),
        )
    ),
    POSTS_MM,
)
EIGHT_SIDED = kiln(Shelf("octagon", 16, across_flats_mm=400), 4)
FRONT = kiln(Shelf("rectangle", 19, width_mm=400, depth_mm=350), 4)


@settings(max_examples=25, deadline=None)
@given(
    space=st.sampled_from([round_kiln(shelves=4), HALVES, EIGHT_SIDED, FRONT]),
    gap_mm=st.sampled_from([0.0, 6.0]),
    seed=st.integers(0, 10**6),
    count=st.integers(1, 30),
)
def test_no_plan_of_the_planner_beats_the_bounds(
    space: KilnSpace, gap_mm: float, seed: int, count: int
) -> None:
    random = Random(seed)
    ware = [random_ware(random) for _ in range(count)]
    today = date(2026, 3, 2)
    pieces = [
        QueuePiece(
            str(number), "", one.stage, one.cone, one.footprint, one.height_mm, today,
            booked_order=number,
        )
        for number, one in enumerate(ware)
    ]  # fmt: skip
    by_id = {piece.id: one for piece, one in zip(pieces, ware, strict=True)}
    firings, waiting = 0, pieces
    while waiting:
        asked = {"on": today, "rule": AREA_ONLY, "firing": ("glaze", "6")}
        plan = next(improve_load(space, waiting, gap_mm, **asked)).plan
        left = {left_out.piece_id for left_out in plan.left_out}
        taken = [by_id[piece.id] for piece in waiting if piece.id not in left]
        if not taken:
            break
        bound = load_area_bound_mm2(space, [by_id[piece.id] for piece in waiting], gap_mm)
        assert sum(footprint_mm2(space, one) for one in taken) <= bound + 1e-6
        waiting = [piece for piece in waiting if piece.id in left]
        firings += 1
    fired = [by_id[piece.id] for piece in pieces if piece not in waiting]
    assert firings_bound(space, fired, {"glaze": gap_mm}) <= max(firings, len(fired) and 1)


def random_ware(random: Random) -> Ware:
    height_mm = random.choice([25, 40, 60, 90, 120, 180, 250])
    if random.random() < 0.7:
        return Ware(Disc(random.randrange(50, 190, 5)), height_mm)
    return Ware(Rectangle(random.randrange(40, 160, 5), random.randrange(40, 160, 5)), height_mm)
