"""The planner's answers, looked at before they are written: sound, and true to promises."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from itertools import islice

from firings.actions.left_out import Out
from firings.actions.load_layers import topmost_locked
from firings.actions.load_record import StandingLoad, plan_area_mm2
from firings.actions.load_ware import names_of, queue_pieces, rule_of
from firings.actions.planner import Wanted, improve
from firings.actions.promised_space import plan_for
from firings.calculations.kiln_space import KilnSpace
from firings.calculations.load_plan import LeftOut, LoadPlan, PlannedLayer, WhyLeftOut
from firings.calculations.plan_check import check_load
from firings.calculations.plan_geometry import level_words
from firings.calculations.planning.problem import Held, HeldLayer, LoadProgress
from firings.models import Booking, Firing, FiringPolicy
from firings.refusals import WareRefusal
from studio.models import Studio

# So many answers of the planner are looked at before crew are asked to unlock something.
TRIES_AT_MOST = 60
# And so many for one that keeps every promise, before the promised plan itself is taken.
PROMISE_TRIES = 5


@dataclass(frozen=True)
class Offered:
    """What a load may be made from: slips that may enter, and why the others may not."""

    able: list[Booking]
    out: dict[Booking, Out]


def first_sound(load: StandingLoad, offered: Offered, at: datetime) -> LoadProgress:
    """The planner's first answer in which the second pair of eyes finds no fault.

    One that leaves out what was promised space gives way to the plan that the promise rests on.
    """
    sound: LoadProgress | None = None
    last: LoadPlan | None = None
    for number, progress in enumerate(islice(improve(wanted_of(load, at)), TRIES_AT_MOST)):
        if progress.plan is not last and not faults_of(load, offered, progress.plan):
            sound = progress
            if not broken_promises(load, offered, progress.plan):
                return progress
        last = progress.plan
        if sound is not None and number >= PROMISE_TRIES:
            break
    kept = _as_promised(load, offered, at)
    if kept is not None or sound is not None:
        return kept or sound  # type: ignore[return-value]
    if last is None:
        raise WareRefusal("no_plan", "The planner found no load at all.", status=500)
    fault = faults_of(load, offered, last)[0]
    raise WareRefusal(
        "plan_is_faulty", f"No load was found around what is locked: {fault} Unlock something."
    )


def broken_promises(load: StandingLoad, offered: Offered, plan: LoadPlan) -> int:
    """How many slips that were promised space a plan leaves out."""
    standing = load.standing_in(plan)
    return sum(not is_wholly_in(one, standing) for one in _promised(load, offered))


def _promised(load: StandingLoad, offered: Offered) -> list[Booking]:
    return [one for one in offered.able if one.is_promised and one.firing_id == load.firing.pk]


def _as_promised(load: StandingLoad, offered: Offered, at: datetime) -> LoadProgress | None:
    """The plan that holds all that was promised, filled up with others; None without one."""
    promised = _promised(load, offered)
    mine = {str(piece.pk) for one in promised for piece in one.pieces.all()}
    bundles = [bundle for bundle in load.bundles if bundle.id in mine]
    plan = plan_for(load.firing, promised, held=load.held, bundles=bundles)
    if plan is None:
        return None
    filled = _filled_up(load, offered, plan, at)
    if filled is not None:
        return filled
    standing = load.standing_in(plan)
    out = [key for key in load.load_pieces if key not in standing]
    plan = LoadPlan(plan.layers, tuple(LeftOut(key, WhyLeftOut.NO_ROOM) for key in out))
    if faults_of(load, offered, plan):
        return None
    area_mm2 = plan_area_mm2(load.space, load.load_pieces, plan)
    return LoadProgress(plan, area_mm2, 0.0, area_mm2, 0, is_best_possible=False)


def _filled_up(
    load: StandingLoad, offered: Offered, plan: LoadPlan, at: datetime
) -> LoadProgress | None:
    """What the planner adds to a plan when everything in it stays where it is."""
    layers = [_all_held(layer, load.held) for layer in plan.layers]
    named = {(layer.stack, layer.index) for layer in layers}
    wanted = wanted_of(load, at)
    others = [one for one in wanted.held.layers if (one.stack, one.index) not in named]
    held = replace(load.held, layers=(*layers, *others))
    progress = next(improve(replace(wanted, held=held)))
    if faults_of(load, offered, progress.plan) or broken_promises(load, offered, progress.plan):
        return None
    return replace(progress, is_best_possible=False)


def _all_held(layer: PlannedLayer, held: Held) -> HeldLayer:
    """A layer of which everything is locked, and what crew decided about it besides."""
    place = (layer.stack, layer.index)
    mine = next((one for one in held.layers if (one.stack, one.index) == place), None)
    return replace(
        mine or HeldLayer(*place),
        post_mm=layer.post_mm,
        locked=layer.placements,
        locked_fractions=layer.fractions,
        cone_pack=layer.cone_pack,
    )


def faults_of(load: StandingLoad, offered: Offered, plan: LoadPlan) -> tuple[str, ...]:
    """Why a plan cannot be carried out, or would tear a slip apart."""
    standing = load.standing_in(plan)
    torn = tuple(
        f"Slip {one.slip} would be fired in two parts."
        for one in offered.able
        if 0 < sum(str(piece.pk) in standing for piece in one.pieces.all()) < len(one.pieces.all())
    )
    pieces, names = list(load.load_pieces.values()), names_of(load.bookings)
    return torn + check_load(
        load.space, pieces, plan, load.gap_mm, held=load.held, names=names, bundles=load.bundles
    )


def figures_of(load: StandingLoad, progress: LoadProgress) -> dict[str, object]:
    """What the record of a search keeps of one answer."""
    return {
        "steps": progress.steps,
        "score": progress.score,
        "area_mm2": progress.area_mm2,
        "bound_mm2": progress.bound_mm2,
        "warnings": list(warnings_of(load, progress.plan)),
    }


def warnings_of(load: StandingLoad, plan: LoadPlan) -> tuple[str, ...]:
    """What crew should know of a plan before they carry it out."""
    return plan.warnings + tuple(
        f"No shelf goes above {level_words(stack, level)}: what is locked there stands where its "
        "posts would. Unlock it, or move it off the post places, to use the height above."
        for stack, level in sorted(_tops(load).items())
    )


def _tops(load: StandingLoad) -> dict[str, int]:
    footprints = {key: piece.footprint for key, piece in load.load_pieces.items()}
    return topmost_locked(load.space, load.held, footprints)


def _space_around_locks(load: StandingLoad) -> KilnSpace:
    """The kiln, without the shelves whose posts would stand where something is locked."""
    tops = _tops(load)
    stacks = (
        replace(one, shelves_count=min(one.shelves_count, tops.get(one.name, one.shelves_count)))
        for one in load.space.stacks
    )
    return replace(load.space, stacks=tuple(stacks))


def _held_around_locks(load: StandingLoad) -> Held:
    """What crew hold, without heights of shelves that cannot be."""
    tops = _tops(load)
    layers = (one for one in load.held.layers if one.index <= tops.get(one.stack, one.index))
    return replace(load.held, layers=tuple(layers))


def wanted_of(load: StandingLoad, at: datetime, seed: int = 1) -> Wanted:
    """What the planner is asked for this load."""
    return Wanted(
        space=_space_around_locks(load),
        pieces=tuple(queue_pieces(load.bookings, firing=load.firing, bundles=load.bundles)),
        gap_mm=load.gap_mm,
        on=loaded_on(load.firing, at),
        rule=rule_of(FiringPolicy.current()),
        held=_held_around_locks(load),
        firing=(load.firing.stage, load.firing.cone),
        seed=seed,
    )


def loaded_on(firing: Firing, at: datetime) -> date:
    """The day on which a firing is loaded: a day that has passed is today."""
    zone = Studio.current().zone
    return max(at, firing.planned_for).astimezone(zone).date()


def is_wholly_in(booking: Booking, standing: set[str]) -> bool:
    return all(str(piece.pk) in standing for piece in booking.pieces.all())
