"""The loop of the search: ruin, recreate, keep or go back, and cool."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
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


@dataclass
class Mood:
    """How one recreation sees things: which order, how much height counts, which kinds it likes.

    Alike pieces share a liking, so that a mood can leave out one sort of ware altogether; shaking
    each piece by itself would always bring one of the sort to the front.
    """

    random: Random
    kind: int
    power: float
    spread: float
    _likings: dict[tuple[int, int], float] = field(default_factory=dict)

    def liking(self, item: Item) -> float:
        alike = (item.shape.number, item.height_mm)
        if alike not in self._likings:
            self._likings[alike] = math.exp(self.spread * self.random.gauss(0.0, 1.0))
        return self._likings[alike]


def any_mood(random: Random) -> Mood:
    kind = random.choices(range(4), (4, 3, 2, 1))[0]
    return Mood(random, kind, random.random(), random.choice((0.05, 0.2, 0.6)))


def plain_mood(order: int, random: Random) -> Mood:
    return Mood(random, order, (0.0, 0.4, 0.7, 1.0)[order], 0.0)


def recreate_all(state: Loads, make: Recreator, leaving: Sequence[Item], mood: Mood) -> None:
    """Put units back in the order of a mood; what finds no room goes to the bank.

    A single piece just like one that found no room is not tried again: rooms only get smaller.
    """
    units = sorted({item.unit for item in leaving})
    state.bank = []
    refused: set[tuple[int, int]] = set()

    def rank(number: int) -> tuple[int, float]:
        unit = make.units[number]
        if make.ranking is not None:
            return make.ranking(unit, mood.power, mood.liking(unit[0]))
        return 0, _rank(unit, mood)

    for _, number in sorted((rank(number), number) for number in units):
        unit = make.units[number]
        alike = (unit[0].shape.number, unit[0].height_mm)
        is_known = len(unit) == 1 and make.penalty is None and alike in refused
        if is_known or not make.put(state, unit, mood.random):
            state.bank += unit
            if len(unit) == 1:
                refused.add(alike)


def _rank(unit: Sequence[Item], mood: Mood) -> float:
    """Tallest, bulkiest or widest first, or by chance."""
    if mood.kind == 0:
        return -max(item.height_mm for item in unit) * mood.liking(unit[0])
    if mood.kind == 1:
        return -sum(item.bulk for item in unit) * mood.liking(unit[0])
    if mood.kind == 2:
        return -sum(item.shape.area_mm2 for item in unit) * mood.liking(unit[0])
    return mood.random.random()


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
        recreate_all(trial, make, [*leaving, *trial.bank], any_mood(random))
        trial.bank += make.settle_packs(trial, random)
        new_cost = measure(trial)
        heat = cooling.at(step)
        if new_cost <= cost - heat * math.log(1 - random.random()):
            now, cost = trial, new_cost
        step += 1
        yield now, cost
