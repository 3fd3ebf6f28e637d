"""What a firing is meant to do: its ramps, its top, and this kiln's own past for the like.

The watch asks how fast a kiln should climb where it is now. The schedule says so when there is
one; else what this kiln did in its like firings, class by class; else only that it should climb.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from statistics import median
from typing import Any

from firings.calculations.cones import cone_equivalent_c, published_equivalents_c

CLASS_C = 100
# A schedule that asks for more means "as fast as it goes", which is no rate to hold a kiln to.
RATE_MAX_C_PER_H = 250.0
# Fewer past firings than this are an anecdote. Common practice, no source.
PAST_MIN = 3
# 1.4826 times the median absolute deviation is the standard deviation of a normal spread
# (Rousseeuw and Croux, J. Am. Stat. Assoc. 88 (1993) 1273): one odd firing moves neither.
MAD_TO_SIGMA = 1.4826
# Above it a firing without schedule or history climbs to its cone: below, ware is dried. Common
# practice, no source.
DRYING_ENDS_C = 150.0
FLOOR_C_PER_H = 20.0
# A cone bends up to so much cooler with a slow end or a long hold than at 60 C/h.
CONE_SLACK_C = 15.0
LAST_RATE_C_PER_H = 60.0


@dataclass(frozen=True)
class Ramp:
    """Go to target_c at rate_c_per_h (a size), then hold."""

    rate_c_per_h: float
    target_c: float
    hold_minutes: float = 0.0


@dataclass(frozen=True)
class Pace:
    """When this kiln's like firings had reached a class: seconds since their start.

    `climb_s` is how long they took over the class from there on; None at their top.
    """

    class_c: int
    reached_s: float
    spread_s: float
    climb_s: float | None


@dataclass(frozen=True)
class WatchPlan:
    """What the watch goes by. Temperatures C, times seconds; `top_c` is where heating ends.

    `ramps` go to the top; `is_cooled_by_programme` says that more follow on the way down.
    `is_top_known` says that a schedule gave it; otherwise it is the cone's, more loosely.
    """

    top_c: float
    is_top_known: bool
    kiln_limit_c: float
    rated_power_w: float
    ramps: tuple[Ramp, ...] = ()
    pace: tuple[Pace, ...] = ()
    is_cooled_by_programme: bool = False

    def to_json(self) -> dict[str, Any]:
        return asdict(self)

    @classmethod
    def from_json(cls, values: Mapping[str, Any]) -> WatchPlan:
        known = dict(values)
        known["ramps"] = tuple(Ramp(**ramp) for ramp in values["ramps"])
        known["pace"] = tuple(Pace(**pace) for pace in values["pace"])
        return cls(**known)

    @property
    def top_slack_c(self) -> float:
        """How far below `top_c` a firing may end and yet have reached it."""
        return 0.0 if self.is_top_known else CONE_SLACK_C

    @property
    def heating_s(self) -> float | None:
        """How long the schedule takes to its top; None without one."""
        if not self.ramps:
            return None
        at_c, seconds = 20.0, 0.0
        for ramp in self.ramps:
            seconds += abs(ramp.target_c - at_c) / ramp.rate_c_per_h * 3600
            seconds += ramp.hold_minutes * 60
            at_c = ramp.target_c
        return seconds

    def rate_from_past(self, temp_c: float) -> float | None:
        """The median rate, in C per hour, at which this kiln climbed through this temperature."""
        for pace in self.pace:
            if pace.class_c <= temp_c < pace.class_c + CLASS_C and pace.climb_s:
                return CLASS_C / pace.climb_s * 3600
        return None

    def next_pace(self, peak_c: float) -> Pace | None:
        """The first class that is not reached yet, with when it used to be."""
        return next((pace for pace in self.pace if pace.class_c > peak_c), None)


def plan_of(
    schedule: Sequence[Mapping[str, float]],
    cone: str,
    cone_limit: str,
    rated_power_w: float,
    past_crossings: Sequence[Mapping[int, float]] = (),
) -> WatchPlan:
    """Return what to go by, from a firing's schedule, cone and kiln, and its like firings.

    schedule: mappings with rate_c_per_h (above 0), target_c and hold_minutes; may be empty.
    past_crossings: of each like firing, class of 100 C -> seconds from its start until it was
    reached. Raises ValueError for an unknown cone and for a rate that is not above 0.
    """
    cone_c = cone_equivalent_c(cone, LAST_RATE_C_PER_H) if _has_rates(cone) else _any_c(cone)
    limit_c = max(published_equivalents_c(cone_limit).values(), default=cone_c)
    ramps = tuple(_ramp(one) for one in schedule)
    top = max(ramps, key=lambda ramp: ramp.target_c, default=None)
    to_top = ramps[: ramps.index(top) + 1] if top else ()
    return WatchPlan(
        top_c=top.target_c if top else cone_c,
        is_top_known=top is not None,
        kiln_limit_c=limit_c,
        rated_power_w=rated_power_w,
        ramps=to_top,
        pace=pace_of(past_crossings),
        is_cooled_by_programme=len(to_top) < len(ramps),
    )


def pace_of(past_crossings: Sequence[Mapping[int, float]]) -> tuple[Pace, ...]:
    """Return median and robust spread of when each class was reached; empty for a short past."""
    paces: list[Pace] = []
    classes = sorted({int(class_c) for crossings in past_crossings for class_c in crossings})
    for class_c in classes:
        reached = [c[class_c] for c in past_crossings if class_c in c]
        climbs = [
            c[class_c + CLASS_C] - c[class_c]
            for c in past_crossings
            if class_c in c and class_c + CLASS_C in c
        ]
        if len(reached) < PAST_MIN:
            continue
        middle = median(reached)
        spread = MAD_TO_SIGMA * median(abs(one - middle) for one in reached)
        climb = median(climbs) if len(climbs) >= PAST_MIN else None
        paces.append(Pace(class_c, middle, spread, climb))
    return tuple(paces)


def _ramp(one: Mapping[str, float]) -> Ramp:
    rate = float(one["rate_c_per_h"])
    if not rate > 0:
        raise ValueError(f"schedule has a ramp with rate_c_per_h {rate!r}: it must be above 0")
    return Ramp(rate, float(one["target_c"]), float(one.get("hold_minutes") or 0))


def _has_rates(cone: str) -> bool:
    rates = published_equivalents_c(cone)
    return bool(rates) and min(rates) <= LAST_RATE_C_PER_H <= max(rates)


def _any_c(cone: str) -> float:
    """A cone whose large form has no confirmed cell: whatever the chart has of it."""
    for cone_type in ("large regular", "small"):
        cells = published_equivalents_c(cone, cone_type)
        if cells:
            return min(cells.values())
    raise ValueError(f"cone {cone!r} has no published temperature")
