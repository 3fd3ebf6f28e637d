"""The best next load of a queue, over all the stages and cones that could be fired now."""

from collections.abc import Iterator
from dataclasses import dataclass

from firings.calculations.planning.load_search import improve_load
from firings.calculations.planning.problem import (
    AREA_ONLY,
    Held,
    LoadProgress,
    LoadRule,
    PlannedFiring,
    Queue,
    QueuePlan,
)

# After so many turns each, a stage and cone with less than this share of the best score has only
# every so manieth turn.
FAIR_TURNS, BEHIND, SLOWED = 8, 0.97, 6


@dataclass(frozen=True, slots=True)
class NextLoad:
    """The load that is worth most so far; `bound_mm2` holds whichever stage and cone is fired."""

    firing: PlannedFiring
    area_mm2: int
    bound_mm2: int
    steps: int
    is_best_possible: bool

    def as_plan(self, queue: Queue) -> QueuePlan:
        """This one firing, all else left waiting."""
        fired = set(self.firing.piece_ids)
        waiting = tuple(piece.id for piece in queue.pieces if piece.id not in fired)
        return QueuePlan((self.firing,) if fired else (), waiting)


def improve_next_load(
    queue: Queue, *, rule: LoadRule = AREA_ONLY, seed: int = 1
) -> Iterator[NextLoad]:
    """One load for the queue's first day, each at least as good as the one before.

    The stages and cones take turns; one is given up when its bound lies below what another has
    reached. Ends when nothing can be better. The same queue, seed and count give the same load.
    """
    running = {}
    for kind in sorted({(p.stage, p.cone) for p in queue.pieces if p.ready_on <= queue.today}):
        running[kind] = improve_load(
            queue.space,
            [piece for piece in queue.pieces if (piece.stage, piece.cone) == kind],
            queue.gap_mm[kind[0]],
            on=queue.today,
            rule=rule,
            held=Held(),
            cone_pack_layers=queue.cone_pack_layers,
            firing=kind,
            seed=seed,
        )
    latest: dict[tuple[str, str], LoadProgress] = {}
    turn = 0
    while running:
        turn += 1
        for kind, search in list(running.items()):
            if turn > FAIR_TURNS and turn % SLOWED and _is_behind(latest, kind):
                continue
            progress = next(search, None)
            if progress is None:
                del running[kind]
                continue
            latest[kind] = progress
            yield _best(queue, latest, set(running))
        top = max(progress.area_mm2 for progress in latest.values())
        for kind in list(running):
            if rule is AREA_ONLY and latest[kind].bound_mm2 < top:
                del running[kind]


def _is_behind(latest: dict[tuple[str, str], LoadProgress], kind: tuple[str, str]) -> bool:
    return latest[kind].score < BEHIND * max(progress.score for progress in latest.values())


def _best(
    queue: Queue,
    latest: dict[tuple[str, str], LoadProgress],
    running: set[tuple[str, str]],
) -> NextLoad:
    kind = max(latest, key=lambda one: (latest[one].score, one))
    best = latest[kind]
    others = [latest[one].bound_mm2 for one in latest if one in running or one == kind]
    return NextLoad(
        firing=PlannedFiring(queue.today, *kind, best.plan.layers),
        area_mm2=best.area_mm2,
        bound_mm2=max(*others, best.area_mm2),
        steps=sum(progress.steps for progress in latest.values()),
        is_best_possible=best.is_best_possible and all(b <= best.area_mm2 for b in others),
    )
