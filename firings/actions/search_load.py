"""The search for a better load: begun by crew, carried on by a worker, overtaken by any change.

The first answer is written at once. A worker then writes each better plan, but only while nobody
has changed the load: the firing's revision is compared under its lock. What it found stands in
the database, so a killed worker loses nothing but the rest of the search.
"""

from __future__ import annotations

import logging
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import partial

from django.db import transaction
from kombu.exceptions import OperationalError

from firings.actions.load import (
    CAN_BE_LOADED,
    LoadProposal,
    first_answer,
    loadable,
    offered_ware,
    write_answer,
)
from firings.actions.load_answers import Offered, broken_promises, figures_of, wanted_of
from firings.actions.load_record import StandingLoad, standing_load
from firings.actions.planner import improve
from firings.calculations.planning.problem import LoadProgress
from firings.models import Firing, LoadSearch, SearchState
from firings.refusals import WareRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

log = logging.getLogger(__name__)

# A search that was not heard of for so long has lost its worker.
SILENT_AT_MOST = timedelta(seconds=60)
# How often a search looks whether it was stopped or overtaken, when it finds nothing.
LOOK_EVERY = timedelta(seconds=1)

Clock = Callable[[], datetime]


def search_load(
    *, by: Person, at: datetime, firing: Firing, nudge: Callable[[int], object], seed: int = 1
) -> LoadProposal:
    """Write the first answer and let a worker look for better ones; `nudge` asks for one."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = loadable(firing)
        proposal, search = first_answer(firing, by=by, at=at)
        search.seed = seed
        if search.state != SearchState.BEST:
            search.state = SearchState.RUNNING
            transaction.on_commit(partial(_nudge, nudge, firing.pk))
        search.save(update_fields=["state", "seed"])
        record_deed(firing, "search begun", by=by, at=at)
    return proposal


def stop_search(*, by: Person, at: datetime, firing: Firing) -> LoadSearch:
    """Let the load stand as it is; the worker ends at its next look."""
    require_role(by, Role.CREW)
    with transaction.atomic(durable=True):
        firing = loadable(firing)
        search = LoadSearch.objects.filter(firing=firing, state=SearchState.RUNNING).first()
        if search is None:
            raise WareRefusal("no_search", "No search is under way for this load.", status=404)
        search.state = SearchState.STOPPED
        search.heard_at = at
        search.save(update_fields=["state", "heard_at"])
        record_deed(firing, "search stopped", by=by, at=at)
    return search


def carry_on_search(*, firing_pk: int, seconds_at_most: float, clock: Clock) -> str:
    """A worker's part: take better and better plans until one of the ends is reached.

    `clock` is asked after each plan. Answers the state in which the search ended.
    """
    begun_at = clock()
    with transaction.atomic(durable=True):
        found = _running(firing_pk, begun_at)
        if isinstance(found, str):
            return found
        search, load, _ = found
    last, looked_at, is_ahead = None, begun_at, False
    for progress in improve(wanted_of(load, begun_at, search.seed)):
        now = clock()
        is_new = last is not None and progress.plan is not last.plan
        is_late = (now - begun_at).total_seconds() >= seconds_at_most
        last = progress
        if not (is_new or is_late or progress.is_best_possible or now - looked_at >= LOOK_EVERY):
            continue
        # A search that begins anew after a killed worker first has to get past what stands.
        writes = is_new and (is_ahead or progress.score > search.score)
        is_ahead = is_ahead or writes
        looked_at = now
        state = _take(firing_pk, progress, now, writes=writes, is_last=is_late)
        if state != SearchState.RUNNING:
            return state
    return _end(firing_pk, SearchState.ENDED, clock())


def is_silent(search: LoadSearch, now: datetime) -> bool:
    """Whether a search that should be running has lost its worker."""
    return search.state == SearchState.RUNNING and now - search.heard_at > SILENT_AT_MOST


def _nudge(nudge: Callable[[int], object], firing_pk: int) -> None:
    try:
        nudge(firing_pk)
    except OperationalError as error:
        # The first answer is written; crew may look again when the broker is back.
        log.warning("no worker was asked to search for firing %s: %s", firing_pk, error)


def _running(firing_pk: int, at: datetime) -> tuple[LoadSearch, StandingLoad, Offered] | str:
    """The search with its load, rows held; or the state in which it has ended."""
    firing = Firing.objects.select_for_update(of=("self",)).select_related("kiln").get(pk=firing_pk)
    search = LoadSearch.objects.select_related("begun_by").filter(firing=firing).first()
    if search is None or search.state != SearchState.RUNNING:
        return search.state if search else SearchState.OVERTAKEN
    is_loadable = firing.state in CAN_BE_LOADED
    if search.revision != firing.load_revision or not is_loadable:
        return _set_state(search, SearchState.OVERTAKEN, at)
    offered = offered_ware(firing, at)
    return search, standing_load(firing, offered.able, anew=True), offered


def _take(
    firing_pk: int, progress: LoadProgress, now: datetime, *, writes: bool, is_last: bool
) -> str:
    """Note how far the search is, and write its answer; unless somebody changed the load."""
    with transaction.atomic(durable=True):
        found = _running(firing_pk, now)
        if isinstance(found, str):
            return found
        search, load, offered = found
        if search.begun_by is None:
            return _set_state(search, SearchState.STOPPED, now)
        if writes and not _breaks_a_promise(load, offered, progress):
            try:
                with transaction.atomic():
                    write_answer(load, offered, progress.plan, by=search.begun_by, at=now)
            except WareRefusal as refusal:
                # Ware was booked, measured or withdrawn since the search began.
                log.info("firing %s: %s", firing_pk, refusal.message)
                return _set_state(search, SearchState.OVERTAKEN, now)
            for name, value in figures_of(load, progress).items():
                setattr(search, name, value)
            search.revision = load.firing.load_revision
        search.steps = progress.steps
        search.bound_mm2 = max(progress.bound_mm2, search.area_mm2)
        search.heard_at = now
        if progress.is_best_possible:
            search.state = SearchState.BEST
        elif is_last:
            search.state = SearchState.TIME_UP
        search.save()
        return search.state


def _breaks_a_promise(load: StandingLoad, offered: Offered, progress: LoadProgress) -> bool:
    """Whether a fuller load would leave out more of what was promised than the one that stands."""
    before = broken_promises(load, offered, load.plan)
    return broken_promises(load, offered, progress.plan) > before


def _end(firing_pk: int, state: SearchState, now: datetime) -> str:
    with transaction.atomic(durable=True):
        found = _running(firing_pk, now)
        return found if isinstance(found, str) else _set_state(found[0], state, now)


def _set_state(search: LoadSearch, state: SearchState, now: datetime) -> str:
    search.state = state
    search.heard_at = now
    search.save(update_fields=["state", "heard_at"])
    return state
