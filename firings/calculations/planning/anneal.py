"""The loop of the search: ruin, recreate, keep or go back, and cool."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from random import Random

from firings.calculations.planning.exchange import Worth, exchange
from firings.calculations.planning.recreate import Loads, Recreator
from firings.calculations.planning.ruin import ruin
from firings.calculations.planning.towers import Item, Tower

Measure = Callable[[Loads], float]
# How many of the recreations may put whole shelves down anew; it costs most of a step.
REPACK_SHARE, LOAD_REPACK_SHARE = 0.15, 0.15
# Units of the bank that one step of a load search tries to put in.
BANK_TRIED = 16
# How many steps of a load search exchange ware on one shelf.
EXCHANGE_SHARE = 0.2
# How many recreations of a load search go by size, as for a queue, when all but everything is in:
# what has to go in altogether goes in best tallest and bulkiest first.
BY_SIZE = 0.7


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


SPREADS = (0.05, 0.1, 0.2, 0.6)
# Where everything has to go in somewhere, order is shaken piece by piece, and only a little.
SHAKE = 0.1


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
    is_by_size: bool = False
    _likings: dict[tuple[int, int], float] = field(default_factory=dict)

    def liking(self, item: Item) -> float:
        alike = (item.shape.number, item.height_mm)
        if alike not in self._likings:
            self._likings[alike] = math.exp(self.spread * self.random.gauss(0.0, 1.0))
        return self._likings[alike]


def any_mood(random: Random, by_size: float = 0.0) -> Mood:
    """A mood by chance; `by_size`: how likely size counts where else worth would."""
    kind = random.choices(range(4), (4, 3, 2, 1))[0]
    power, spread = random.random(), random.choice(SPREADS)
    return Mood(random, kind, power, spread, random.random() < by_size)


def plain_mood(order: int, random: Random) -> Mood:
    return Mood(random, order, (0.0, 0.4, 0.7, 1.0)[order], 0.0)


def recreate_all(
    state: Loads,
    make: Recreator,
    leaving: Sequence[Item],
    mood: Mood,
    repacks: int | None = None,
) -> None:
    """Put units back in the order of a mood; what finds no room goes to the bank.

    `repacks`: how much work may go into putting shelves down anew; else chance says. A single
    piece just like one that found no room is not tried again: rooms only get smaller.
    """
    units = sorted({item.unit for item in leaving})
    state.bank = []
    share = REPACK_SHARE if make.ranking is None else LOAD_REPACK_SHARE
    make.repacks_left = make.repacks if mood.random.random() < share else 0
    if repacks is not None:
        make.repacks_left = repacks
    refused: set[tuple[int, int]] = set()

    def rank(number: int) -> tuple[int, float]:
        unit = make.units[number]
        if make.ranking is None:
            return 0, _rank(unit, mood)
        first, by_worth = make.ranking(unit, mood.power, mood.liking(unit[0]))
        return first, _rank(unit, mood) if mood.is_by_size else by_worth

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
    shaken = 1 + SHAKE * mood.random.random()
    if mood.kind == 0:
        return -max(item.height_mm for item in unit) * shaken
    if mood.kind == 1:
        return -sum(item.bulk for item in unit) * shaken
    if mood.kind == 2:
        return -sum(item.shape.area_mm2 for item in unit) * shaken
    return mood.random.random()


def _topped(tower: Tower, random: Random) -> Tower:
    """Mostly the layer on top that saves most height; now and then any, for its wider shelf."""
    if len(tower.layers) > 1 and random.random() < 0.3:
        return tower.topped_with(random.randrange(len(tower.layers)))
    return tower.best_topped()


def _some_of_the_bank(
    bank: Sequence[Item], make: Recreator, random: Random
) -> tuple[list[Item], list[Item]]:
    """With most of a queue in the bank only some units are tried in one step, by chance."""
    units = sorted({item.unit for item in bank})
    if make.ranking is None or len(units) <= BANK_TRIED:
        return list(bank), []
    chosen = set(random.sample(units, BANK_TRIED))
    tried = [item for item in bank if item.unit in chosen]
    return tried, [item for item in bank if item.unit not in chosen]


def steps(
    state: Loads,
    make: Recreator,
    measure: Measure,
    cooling: Cooling,
    random: Random,
    worth: Worth | None = None,
) -> Iterator[tuple[Loads, float]]:
    """Endless: after each step the loads as they are and what they cost.

    With the `worth` of items some steps exchange ware on one shelf instead.
    """
    now, cost = state, measure(state)
    everything = sum(len(unit) for unit in make.units)
    step = 0
    while True:
        trial = now.copy()
        if worth is not None and trial.bank and random.random() < EXCHANGE_SHARE:
            if exchange(trial, make, worth, random):
                now, cost = trial, measure(trial)
            step += 1
            yield now, cost
            continue
        leaving, touched = ruin(trial, make, random)
        for index in sorted(touched):
            trial.loads[index] = tuple(
                _topped(tower, random) if make.ranking else tower.best_topped()
                for tower in trial.loads[index]
            )
        tried, untried = _some_of_the_bank(trial.bank, make, random)
        by_size = BY_SIZE * (1 - len(trial.bank) / max(1, everything)) ** 2
        recreate_all(trial, make, [*leaving, *tried], any_mood(random, by_size))
        trial.bank += untried + make.settle_packs(trial, random)
        new_cost = measure(trial)
        heat = cooling.at(step)
        if new_cost <= cost - heat * math.log(1 - random.random()):
            now, cost = trial, new_cost
        step += 1
        yield now, cost
