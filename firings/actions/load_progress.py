"""How far the latest search for a load came, and what it changed: read by pages and API."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from firings.actions.load_record import where_everything_stands
from firings.actions.search_load import is_silent
from firings.models import Firing, LoadSearch, SearchState


@dataclass(frozen=True)
class Changes:
    """What is different from before the load was last planned: slips in and out, pieces moved."""

    came_in: tuple[str, ...]
    went_out: tuple[str, ...]
    moved: tuple[str, ...]

    def __bool__(self) -> bool:
        return bool(self.came_in or self.went_out or self.moved)


@dataclass(frozen=True)
class Progress:
    """How far the latest search came, for the eyes."""

    search: LoadSearch
    within_percent: int
    seconds: float
    is_silent: bool

    @property
    def is_running(self) -> bool:
        return self.search.state == SearchState.RUNNING and not self.is_silent


def progress_context(firing: Firing, now: datetime) -> dict[str, Any]:
    """The latest search of a firing; `progress` is None when there was none."""
    found = LoadSearch.objects.filter(firing=firing).first()
    if found is None:
        return {"progress": None, "changes": None}
    missing = found.bound_mm2 - found.area_mm2
    return {
        "progress": Progress(
            search=found,
            within_percent=-(-100 * missing // found.bound_mm2) if found.bound_mm2 else 0,
            seconds=(found.heard_at - found.begun_at).total_seconds(),
            is_silent=is_silent(found, now),
        ),
        "changes": changes_since(found.before, where_everything_stands(firing)),
    }


def changes_since(before: dict[str, list[Any]], now: dict[str, list[Any]]) -> Changes:
    """Compare two loads, each as {piece id: [slip, stack, position, x_mm, y_mm]}."""
    slips_before = {place[0] for place in before.values()}
    slips_now = {place[0] for place in now.values()}
    moved = {
        place[0] for key, place in now.items() if key in before and before[key][1:] != place[1:]
    }
    return Changes(
        came_in=tuple(sorted(slips_now - slips_before)) if before else (),
        went_out=tuple(sorted(slips_before - slips_now)),
        moved=tuple(sorted(moved)),
    )
