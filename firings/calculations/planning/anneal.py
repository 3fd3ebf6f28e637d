"""The loop of the search: ruin, recreate, keep or go back, and cool."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from random import Random

from firings.calculations.planning.recreate import Loads, Recreator
from firings.calculations.planning.ruin import ruin
from firings.calculations.planning.towers import Item

Measure = Callable[[Loads], float]


@dataclass
class Cooling:
    """From `start` to `end` in `steps` steps, in the unit of the measure; then again, longer."""

    start: float
    end: float
    steps: int

    def at(self, step: int) -> float:
        length = self.steps
        while step >= length:
            step -= length
            length *= 2
        return self.start * (self.end / self.start) ** (step / length)


def recreate_all(
    state: Loads, make: Recreator, leaving: Sequence[Item], random: Random, order: int | None = None
) -> None:
    """Put units back in one of several orders; what finds no room goes to the bank.

    A single piece just like one that found no room is not tried again: rooms only get smaller.
    """
    units = sorted({item.unit for item in leaving})
    state.bank = []
    kind = random.choices(range(4), (4, 3, 2, 1))[0] if order is None else order
    power = random.random() if order is None else (0.0, 0.4, 0.7, 1.0)[order]
    refused: set[tuple[int, int]] = set()

    def rank(number: int) -> tuple[int, float]:
        if make.ranking is not None:
            return make.ranking(make.units[number], power, random)
        return 0, _rank(make.units[number], kind, random)

    for _, number in sorted((rank(number), number) for number in units):
        unit = make.units[number]
        alike = (unit[0].shape.number, unit[0].height_mm)
        is_known = len(unit) == 1 and make.penalty is None and alike in refused
        if is_known or not make.put(state, unit, random):
            state.bank += unit
            if len(unit) == 1:
                refused.add(alike)


def _rank(unit: Sequence[Item], kind: int, random: Random) -> float:
    """Tallest, bulkiest or widest first, or by chance; shaken a little."""
    shake = 1 + 0.1 * random.random()
    if kind == 0:
        return -max(item.height_mm for item in unit) * shake
    if kind == 1:
        return -sum(item.bulk for item in unit) * shake
    if kind == 2:
        return -sum(item.shape.area_mm2 for item in unit) * shake
    return random.random()


def steps(
    state: Loads, make: Recreator, measure: Measure, cooling: Cooling, random: Random
) -> Iterator[tuple[Loads, float]]:
    """Endless: after each step the loads as they are and what they cost."""
    now, cost = state, measure(state)
    step = 0
    while True:
        trial = now.copy()
        leaving, touched = ruin(trial, make, random)
        for index in sorted(touched):
            trial.loads[index] = tuple(tower.best_topped() for tower in trial.loads[index])
        recreate_all(trial, make, [*leaving, *trial.bank], random)
        trial.bank += make.settle_packs(trial, random)
        new_cost = measure(trial)
        heat = cooling.at(step)
        if new_cost <= cost - heat * math.log(1 - random.random()):
            now, cost = trial, new_cost
        step += 1
        yield now, cost
