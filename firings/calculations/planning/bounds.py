"""How good any plan can be: the most area in one load, the fewest firings for a queue.

Both are linear programs that every plan satisfies: the pieces taken fit, feature by feature
(`piece_features`), into shelves, and the shelves fit under the lid. What the programs forget is
only where on its shelf a piece stands, so no plan is better than their answer.

For a queue the program has a column for every tower of shelves that could be set up; those that
matter are found by pricing (column generation: P. C. Gilmore and R. E. Gomory, Operations Research
9 (1961) 849-859; from memory). Whole shelves and whole pieces make a bound closer; that takes a
search, which is cut off after a number of nodes and holds all the same.
"""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from typing import Protocol

import numpy as np

from firings.calculations.kiln_space import KilnSpace
from firings.calculations.planning.linear_program import LinearProgram
from firings.calculations.planning.piece_features import FeaturedKiln, Sized, footprint_mm2
from firings.calculations.planning.whole_shelves import whole_shelves_program

NODES = 500
CUTS_AT_MOST = 200
# Up to so many firings of so many kinds of pieces are asked about in whole shelves.
WHOLE_FIRINGS_AT_MOST = 4
# Two sums of the same numbers may differ by this much in floating point.
ROUNDING = 1e-6


class ForAFiring(Sized, Protocol):
    """A piece that also says which firings it may go into."""

    @property
    def stage(self) -> str: ...
    @property
    def cone(self) -> str: ...


def load_area_bound_mm2(
    space: KilnSpace, pieces: Sequence[Sized], gap_mm: float, nodes: int = NODES
) -> float:
    """No load of one firing holds more footprint than this, whichever pieces it takes.

    The pieces must all be such as may share a firing. A booked fraction counts as that part of the
    largest shelf. 0 for no pieces. `nodes`: how long to search; more may bring a closer bound.
    """
    if not pieces:
        return 0.0
    everything = sum(footprint_mm2(space, piece) for piece in pieces)
    answer = whole_shelves_program(FeaturedKiln(space, pieces, gap_mm)).solve(nodes)
    return min(everything, -answer.bound * (1 + ROUNDING))


def firings_bound(
    space: KilnSpace,
    pieces: Iterable[ForAFiring],
    gap_mm: Mapping[str, float],
    nodes: int = NODES,
) -> int:
    """Fewer firings than this cannot clear a queue. `gap_mm` is the spacing by stage.

    Pieces of different stage or cone never share a firing, so their bounds add up. The days on
    which pieces may be fired are left out: they can only make it more.
    """
    groups: dict[tuple[str, str], list[ForAFiring]] = defaultdict(list)
    for piece in pieces:
        groups[piece.stage, piece.cone].append(piece)
    kilns = [FeaturedKiln(space, group, gap_mm[stage]) for (stage, _), group in groups.items()]
    return sum(_fewest_firings(kiln, nodes) for kiln in kilns)


def needs_more_than_one_firing(space: KilnSpace, pieces: Sequence[Sized], gap_mm: float) -> bool:
    """Whether pieces certainly do not fit into one firing; False proves nothing."""
    return bool(pieces) and _fewest_by_prices(FeaturedKiln(space, pieces, gap_mm)) > 1


def _fewest_firings(kiln: FeaturedKiln, nodes: int) -> int:
    firings = _fewest_by_prices(kiln)
    while firings <= WHOLE_FIRINGS_AT_MOST:
        program = whole_shelves_program(kiln, firings=firings, must_take_all=True)
        if program.solve(nodes).is_possible:
            break
        firings += 1
    return firings


def _fewest_by_prices(kiln: FeaturedKiln) -> int:
    """The prices at which the queue weighs most while no firing weighs more than 1.

    The rows of the program are the dearest firings met so far. The answer is scaled by the
    dearest firing of all, so rounding in the program cannot spoil it.
    """
    whole = kiln.whole
    program = LinearProgram()
    columns = [program.add_column(cost=-1.0, most=1e4) for _ in whole]
    shares = np.ones(whole.size) / whole.size
    needed = 0.0
    for _ in range(CUTS_AT_MOST):
        heaviest, held = kiln.dearest_firing(shares / whole)
        if heaviest <= 0:  # no shelf can be set up at all
            return 1
        needed = max(needed, float(shares.sum()) / heaviest)
        if needed >= shares.sum() * (1 - ROUNDING) and heaviest <= 1 + ROUNDING:
            break
        program.add_row(dict(zip(columns, held / whole, strict=True)), at_most=1.0)
        shares = program.solve().values
    return max(1, math.ceil(needed - ROUNDING))
