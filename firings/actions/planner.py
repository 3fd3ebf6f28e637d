"""The one door between loads and the search that plans them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date

from firings.calculations import packing
from firings.calculations.kiln_space import KilnSpace
from firings.calculations.planning.load_search import improve_load
from firings.calculations.planning.problem import Held, LoadProgress, LoadRule, QueuePiece


@dataclass(frozen=True)
class Wanted:
    """What a load is planned from: the kiln's room, the ware, the rule and crew's decisions."""

    space: KilnSpace
    pieces: tuple[QueuePiece, ...]
    gap_mm: int
    on: date
    rule: LoadRule
    held: Held
    firing: tuple[str, str]
    cone_pack_layers: int = 1
    seed: int = 1


def improve(wanted: Wanted) -> Iterator[LoadProgress]:
    """Plans, each at least as good as the one before; the first within a second."""
    return improve_load(
        wanted.space,
        wanted.pieces,
        wanted.gap_mm,
        on=wanted.on,
        rule=wanted.rule,
        held=wanted.held,
        cone_pack_layers=wanted.cone_pack_layers,
        firing=wanted.firing,
        seed=wanted.seed,
    )


def has_room(
    space: KilnSpace, pieces: Sequence[QueuePiece], gap_mm: int, *, cone_pack_layers: int = 1
) -> bool:
    """Whether all the pieces, and their cone packs, go into one load."""
    load_pieces = [piece.as_load_piece() for piece in pieces]
    return packing.fits(space, load_pieces, gap_mm, cone_pack_layers)
