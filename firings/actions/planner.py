"""The one door between loads and the search that plans them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date

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
