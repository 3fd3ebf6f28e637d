"""The fewest loads for the pieces of one stage and cone.

The first answer is built in a blink: pieces tallest first, then bulkiest first, each where it
costs least height, with a further load whenever none has room; the better of the two is kept.
From then on the search tries to do without one load: it takes the lightest apart, leaves its ware
in the bank, and lets ruin and recreate work with the loads that are left until the bank is empty.
That is a plan with one load fewer, and the next attempt begins. The search never knows whether an
attempt is hopeless; it stops at a bound, or when the caller has seen enough.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from random import Random

from firings.calculations.planning.anneal import Cooling, plain_mood, recreate_all, steps
from firings.calculations.planning.left_out import FIXED_SEED, fits_alone
from firings.calculations.planning.preparing import Prepared
from firings.calculations.planning.recreate import Loads, Penalty
from firings.calculations.planning.towers import Item, items_in

COOLING = Cooling(0.4, 0.02, 1500)
LATE_COOLING = Cooling(0.8, 0.1, 1000)
# A place that makes a piece late costs as much as this much height; a late piece as much as so
# many middling pieces without a place.
LATE_MM = 80.0
LATE_PIECES = 1.0


@dataclass
class KindSearch:
    """The search for one stage and cone. `best` always holds every piece that can be fired."""

    prepared: Prepared
    random: Random
    best: Loads = field(init=False)
    never: list[str] = field(init=False)
    steps: int = 0
    bound: int = 1

    def __post_init__(self) -> None:
        self.never = self._alone_does_not_fit()
        self.best = self._first()
        self._running: Iterator[tuple[Loads, float]] | None = None
        items = [item for unit in self.prepared.units for item in unit]
        self._mean = sum(item.bulk for item in items) / max(1, len(items))

    @property
    def count(self) -> int:
        return len(self.best.loads)

    def _alone_does_not_fit(self) -> list[str]:
        """Ids of units that do not fit even into a kiln of their own."""
        return [
            item.id
            for unit in self.prepared.units
            if not fits_alone(self.prepared, unit)
            for item in unit
        ]

    def _first(self) -> Loads:
        make = self.prepared.make
        noise, make.noise = make.noise, 0.0
        starts = [self._built(order) for order in (0, 1)]
        make.noise = noise
        return min(starts, key=lambda state: len(state.loads))

    def _built(self, order: int) -> Loads:
        """Loads opened one after the other, as many as it takes."""
        make, state = self.prepared.make, self.prepared.new_state()
        waiting = [
            item for unit in self.prepared.units for item in unit if item.id not in self.never
        ]
        while waiting:
            state.loads.append(make.empty_load())
            shallow = Loads([state.loads[-1]]) if make.packs_wanted else state
            fixed = Random(FIXED_SEED)  # noqa: S311
            recreate_all(shallow, make, waiting, plain_mood(order, fixed))
            left = make.settle_packs(shallow, fixed)
            if shallow is not state:
                state.loads[-1] = shallow.loads[0]
            waiting = [*shallow.bank, *left]
            state.bank = []
        return state

    def unplaced(self, state: Loads) -> float:
        """The bulk of what is in no load, in middling pieces."""
        return sum(item.bulk for item in state.bank) / self._mean

    def advance(self, count: int) -> bool:
        """Some steps towards one load fewer; True as soon as one is saved."""
        if self.count < 2:
            return False
        if self._running is None:
            self._running = steps(
                self._one_fewer(), self.prepared.make, self.unplaced, COOLING, self.random
            )
        for _ in range(count):
            state, _ = next(self._running)
            self.steps += 1
            if not state.bank:
                self.best = state.copy()
                self._running = None
                return True
        return False

    def _one_fewer(self) -> Loads:
        loads = self.best.loads
        lightest = min(
            range(len(loads)), key=lambda i: (sum(item.bulk for item in items_in(loads[i])), i)
        )
        return Loads(
            [load for index, load in enumerate(loads) if index != lightest],
            items_in(loads[lightest]),
        )

    @staticmethod
    def penalty_for(days: Sequence[int]) -> Penalty:
        """What it costs to have an item in the load of each day: not dry by then, never."""

        def penalty(item: Item, index: int) -> float:
            if item.ready > days[index]:
                return float("inf")
            return LATE_MM if item.due is not None and item.due < days[index] else 0.0

        return penalty

    @staticmethod
    def late_on(days: Sequence[int]) -> Callable[[Loads], int]:
        """How many items are late when the loads are fired on these days."""

        def late(state: Loads) -> int:
            return sum(
                item.due is not None and item.due < days[index]
                for index, load in enumerate(state.loads)
                for item in items_in(load)
            )

        return late

    def less_late(self, days: Sequence[int], count: int) -> bool:
        """Some steps with the loads on fixed days, to have fewer pieces late; True when better."""
        make, late = self.prepared.make, self.late_on(days)

        def measure(state: Loads) -> float:
            return self.unplaced(state) + LATE_PIECES * late(state)

        make.penalty = self.penalty_for(days)
        least = late(self.best)
        found = False
        for number, (state, _) in enumerate(
            steps(self.best.copy(), make, measure, LATE_COOLING, self.random)
        ):
            self.steps += 1
            if not state.bank and late(state) < least:
                least, found = late(state), True
                self.best = state.copy()
            if number + 1 >= count:
                break
        make.penalty = None
        return found
