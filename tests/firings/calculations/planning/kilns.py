"""Invented kilns and mixed ware for the tests of the search."""

from datetime import date, timedelta
from random import Random

from firings.calculations.footprints import Disc, Rectangle
from firings.calculations.kiln_space import (
    Chamber,
    KilnSpace,
    Shelf,
    Stack,
    suggested_post_places,
)
from firings.calculations.planning.problem import Queue, QueuePiece

TODAY = date(2026, 3, 2)
POSTS_MM = (13, 25, 38, 50, 75, 100, 150, 200)


def tower(name: str, shelf: Shelf, count: int) -> Stack:
    return Stack(name, shelf, count, suggested_post_places(shelf))


ROUND = KilnSpace(
    Chamber("round", 450, diameter_mm=450),
    (tower("whole", Shelf("round", 16, diameter_mm=400), 5),),
    POSTS_MM,
)
HALVES = KilnSpace(
    Chamber("round", 400, diameter_mm=500),
    (
        tower("left", Shelf("half_round", 16, diameter_mm=440, side="left", cut_at_mm=-3), 4),
        tower("right", Shelf("half_round", 16, diameter_mm=440, side="right", cut_at_mm=3), 4),
    ),
    POSTS_MM,
)
EIGHT_SIDED = KilnSpace(
    Chamber("octagon", 420, across_flats_mm=450),
    (tower("whole", Shelf("octagon", 16, across_flats_mm=390), 4),),
    POSTS_MM,
)
FRONT = KilnSpace(
    Chamber("rectangle", 500, width_mm=500, depth_mm=450),
    (tower("whole", Shelf("rectangle", 19, width_mm=440, depth_mm=380), 4),),
    POSTS_MM,
)
KILNS = {"round": ROUND, "halves": HALVES, "eight": EIGHT_SIDED, "front": FRONT}


def mixed_ware(count: int, seed: int, stage: str = "glaze") -> list[QueuePiece]:
    """Mugs, bowls, plates, vases and trays in small sets, as members bring them."""
    random = Random(seed)
    kinds = [
        lambda: (Disc(random.choice((80, 85, 90))), random.choice((90, 100, 110))),
        lambda: (Disc(random.randrange(110, 180, 5)), random.randrange(60, 110, 5)),
        lambda: (Disc(random.randrange(180, 260, 10)), 30),
        lambda: (Disc(random.randrange(90, 130, 5)), random.randrange(150, 250, 5)),
        lambda: (Rectangle(random.randrange(80, 180, 5), random.randrange(60, 130, 5)), 60),
    ]
    ware: list[QueuePiece] = []
    while len(ware) < count:
        footprint, height_mm = random.choice(kinds)()
        ready = TODAY - timedelta(days=random.randrange(20))
        due = random.choice((None, TODAY + timedelta(days=random.randrange(2, 20))))
        for _ in range(random.randrange(1, 4)):
            number = len(ware)
            ware.append(
                QueuePiece(
                    f"p{number:03}",
                    "m",
                    stage,
                    "6",
                    footprint,
                    height_mm,
                    ready,
                    due,
                    booked_order=number,
                )
            )
    return ware[:count]


def queue_of(space: KilnSpace, pieces: list[QueuePiece], cone_pack_layers: int = 0) -> Queue:
    gaps = {"glaze": 6.0, "bisque": 0.0}
    return Queue("invented", TODAY, 3, space, gaps, tuple(pieces), cone_pack_layers)
