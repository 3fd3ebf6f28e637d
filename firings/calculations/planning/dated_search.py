"""With dates: fewer firings, as long as no more pieces are late than by hand.

It begins with the loads of the plain way by dates (`by_dates`) and does without one load after the
other: its ware goes into the loads that are left, on the days that they have then. Ware that is
not dry by a day is refused there, and a place that makes a piece late costs something. A load saved
counts only when no more pieces are late than may be; otherwise another load is tried.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from random import Random

from firings.calculations.planning.anneal import Cooling, Measure, steps
from firings.calculations.planning.kind_search import LATE_PIECES, KindSearch
from firings.calculations.planning.recreate import Loads, Penalty
from firings.calculations.planning.schedule import batch_of, late_count, schedule
from firings.calculations.planning.towers import items_in

COOLING = Cooling(0.5, 0.03, 800)
# An attempt to do without a load is given up after so many steps, for one without another load.
ATTEMPT_STEPS = 1_600
# Of the lightest loads one of so many is tried, by chance.
LIGHTEST = 4


@dataclass(frozen=True)
class Timetable:
    """The loads of each stage and cone, and the days of all of them, kind by kind."""

    states: tuple[Loads, ...]
    days: tuple[int, ...]

    @property
    def firings(self) -> int:
        return len(self.days)

    @property
    def late(self) -> int:
        batches = [batch_of(load) for state in self.states for load in state.loads]
        return late_count(batches, self.days)

    def days_of(self, kind: int) -> tuple[int, ...]:
        first = sum(len(state.loads) for state in self.states[:kind])
        return self.days[first : first + len(self.states[kind].loads)]


def scheduled(states: Sequence[Loads], today: int, between: int) -> Timetable:
    """The loads on the days on which fewest pieces are late."""
    batches = [batch_of(load) for state in states for load in state.loads]
    return Timetable(tuple(states), tuple(schedule(batches, today, between)))


@dataclass
class DatedSearch:
    """`best` never has more than `most_late` pieces late."""

    kinds: Sequence[KindSearch]
    best: Timetable
    most_late: int
    today: int
    between: int
    random: Random
    steps: int = 0
    _attempt: "Iterator[Timetable | None] | None" = field(default=None)

    def turn(self, count: int) -> None:
        """Some steps towards one firing fewer."""
        for _ in range(count):
            if self._attempt is None:
                self._attempt = self._without_one()
            self.steps += 1
            found = next(self._attempt, None)
            if found is not None:
                self.best = found
            if found is not None or self.steps % ATTEMPT_STEPS == 0:
                self._attempt = None

    def _without_one(self) -> Iterator[Timetable | None]:
        """After each step the timetable with one firing less, or None as long as there is none."""
        kind, index = self._one_of_the_lightest()
        loads = self.best.states[kind].loads
        rest = [load for number, load in enumerate(loads) if number != index]
        states = [state.copy() for state in self.best.states]
        states[kind] = Loads(rest)
        days = scheduled(states, self.today, self.between).days_of(kind)
        search = self.kinds[kind]
        penalty, late = search.penalty_for(days), search.late_on(days)

        def measure(state: Loads) -> float:
            return search.unplaced(state) + LATE_PIECES * late(state)

        running = self._penalised(kind, Loads(rest, items_in(loads[index])), measure, penalty)
        for state in running:
            if state.bank:
                yield None
                continue
            states[kind] = state.copy()
            found = scheduled(states, self.today, self.between)
            yield found if found.late <= self.most_late else None

    def _penalised(
        self, kind: int, state: Loads, measure: Measure, penalty: Penalty
    ) -> Iterator[Loads]:
        """The steps, with the penalty in force only while one is made."""
        make = self.kinds[kind].prepared.make
        running = steps(state, make, measure, COOLING, self.random)
        while True:
            make.penalty = penalty
            after, _ = next(running)
            make.penalty = None
            yield after

    def _one_of_the_lightest(self) -> tuple[int, int]:
        ranked = sorted(
            (sum(item.bulk for item in items_in(load)), kind, index)
            for kind, state in enumerate(self.best.states)
            for index, load in enumerate(state.loads)
        )
        _, kind, index = self.random.choice(ranked[:LIGHTEST])
        return kind, index
