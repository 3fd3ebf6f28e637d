"""What the watch carries from batch to batch, so that it never reads a log again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

# Readings closer together than this are one point: noise averages out, and work stays small.
POINT_S = 120.0
WINDOW_S = 100 * 60.0


@dataclass(slots=True)
class Point:
    """The mean of one to some minutes of readings; `at_s` is that of the last, in unix seconds.

    `draw` is power as a share of the rated power; `spread_c` how far the zones lie apart.
    """

    started_s: float
    at_s: float
    count: int
    temp_c: float
    set_point_c: float | None
    duty: float | None
    draw: float | None
    spread_c: float | None


@dataclass
class Episode:
    """A sign that holds. `since_s` is when it began to, `calm_s` since when it has not.

    `is_open` says that it has held for long enough and was told.
    """

    since_s: float
    is_open: bool = False
    calm_s: float | None = None


@dataclass
class WatchState:
    """Times are unix seconds, temperatures C. `ramp` counts the schedule's ramps from 0.

    peak_c: the highest point since the start, or since a person said that it goes on.
    crossings: class of 100 C -> seconds since the start until it was first reached.
    set_point_gone_s: since when the controller has shown no set point, after it had shown one.
    """

    started_s: float = 0.0
    points: list[Point] = field(default_factory=list)
    evaluated_s: float = 0.0
    last_c: float | None = None
    last_s: float | None = None
    before_gap_c: float | None = None
    gap_ended_s: float | None = None
    same_since_s: float | None = None
    jump_s: float | None = None
    jump_c: float = 0.0
    peak_c: float | None = None
    peak_s: float = 0.0
    has_reached_top: bool = False
    top_reached_s: float | None = None
    went_on_s: float | None = None
    ramp: int = 0
    ramp_since_s: float = 0.0
    ramp_from_c: float | None = None
    hold_since_s: float | None = None
    had_set_point: bool = False
    set_point_gone_s: float | None = None
    crossings: dict[int, float] = field(default_factory=dict)
    episodes: dict[str, Episode] = field(default_factory=dict)
    interval_s: float | None = None
    posted_s: float | None = None
    post_gaps_s: list[float] = field(default_factory=list)

    def to_json(self) -> dict[str, Any]:
        """Return the state as a dict that JSON can carry."""
        values = asdict(self)
        values["points"] = [list(one.values()) for one in values["points"]]
        values["crossings"] = {str(class_c): s for class_c, s in self.crossings.items()}
        return values

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> WatchState:
        """Return the state that `to_json` gave. An empty dict is a watch that has seen nothing."""
        known = dict(values)
        known["points"] = [Point(*one) for one in values.get("points", ())]
        known["crossings"] = crossings_of(values)
        known["episodes"] = {
            kind: Episode(**one) for kind, one in values.get("episodes", {}).items()
        }
        return cls(**known)

    def go_on(self, now_c: float | None) -> None:
        """A person says that the firing goes on: it is judged by what comes from now on."""
        self.peak_c = now_c
        self.peak_s = self.last_s or self.started_s
        self.went_on_s = self.peak_s
        self.has_reached_top, self.top_reached_s = False, None
        self.set_point_gone_s = None
        self.ramp_since_s, self.ramp_from_c = self.peak_s, now_c
        self.points.clear()


def crossings_of(values: Mapping[str, Any]) -> dict[int, float]:
    """The classes a firing had reached, from the JSON of its watch."""
    return {int(class_c): s for class_c, s in values.get("crossings", {}).items()}
