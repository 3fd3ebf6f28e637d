"""The program of a load in whole shelves and whole pieces; see `bounds`.

Its unknowns are counts: pieces of each kind, shelves of each height that carry another, and the
height over the top shelf. Its rows: every feature of the pieces fits into the shelves, and the
shelves, their posts and the air fit under the lid.
"""

from collections import defaultdict

import numpy as np

from firings.calculations.planning.linear_program import LinearProgram
from firings.calculations.planning.piece_features import Array, FeaturedKiln
from firings.calculations.planning.priced_tower import PricedTower

Row = dict[int, float]


def whole_shelves_program(
    kiln: FeaturedKiln, firings: int = 1, must_take_all: bool = False
) -> LinearProgram:
    """Take as much footprint as `firings` firings hold; or else all of it, at no cost."""
    program = LinearProgram()
    taken: list[Row] = [{} for _ in kiln.counts]
    for _ in range(firings):
        pieces = [
            program.add_column(0.0 if must_take_all else -footprint, count, is_whole=True)
            for footprint, count in zip(kiln.footprints_mm2, kiln.counts, strict=True)
        ]
        for row, column in zip(taken, pieces, strict=True):
            row[column] = 1.0
        features: dict[int, Row] = defaultdict(dict)
        _count(features, dict(zip(pieces, kiln.features, strict=True)))
        for tower in kiln.towers:
            _count(features, {c: -held for c, held in _add_tower(program, tower).items()})
        for row in features.values():
            scale = 1 / max(abs(value) for value in row.values())
            if any(value > 0 for value in row.values()):
                program.add_row({c: value * scale for c, value in row.items()}, at_most=0.0)
    for row, count in zip(taken, kiln.counts, strict=True):
        program.add_row(row, at_most=count, at_least=count if must_take_all else 0.0)
    return program


def _count(features: dict[int, Row], amounts: dict[int, Array]) -> None:
    for column, amount in amounts.items():
        for number in np.flatnonzero(amount):
            features[int(number)][column] = float(amount[number])


def _add_tower(program: LinearProgram, tower: PricedTower) -> dict[int, Array]:
    """The shelves of one tower: their columns, with what each can hold of the features."""
    held: dict[int, Array] = {}
    height: Row = {}
    carrying, top = [], []
    for level, step_mm in enumerate(tower.steps_mm):
        if step_mm is not None and tower.shelves > 1:
            carrying.append(program.add_column(0.0, tower.shelves - 1, is_whole=True))
            held[carrying[-1]], height[carrying[-1]] = tower.carrying[level], float(step_mm)
        top.append(program.add_column(0.0, 1.0, is_whole=True))
        held[top[-1]], height[top[-1]] = tower.top[level], float(tower.clear_mm[level])
    program.add_row(height, at_most=float(tower.height_mm - tower.first_mm))
    if carrying:
        program.add_row(dict.fromkeys(carrying, 1.0), at_most=tower.shelves - 1.0)
    program.add_row(dict.fromkeys(top, 1.0), at_most=1.0)
    return held
