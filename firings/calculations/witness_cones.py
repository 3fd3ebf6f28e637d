"""Witness cones: from how far each cone bent to the cone that a place in the kiln reached.

Temperatures are the chart's for self-supporting cones at 60 C per hour (cones.py), so that a
kiln's firings compare whatever their last ramp was. A bend goes from 0, standing, to 1, the tip
level with the base; on a clock face the tip goes from 12 to 6 (a kiln maker's tip sheet calls the
end 6 o'clock).

A cone takes 15 to 25 minutes to bend once it starts (supplier pages repeating the maker's text),
which at 60 C per hour is 15 to 25 C below its end point. Between start and end the bend is taken
to go evenly with temperature: common practice, no source.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from firings.calculations.cones import CONES, cone_equivalent_c, cone_rank

RATE_C_PER_H = 60.0
BEND_TAKES_C = (15.0, 25.0)
# Production cones lie within 2 C of the standard (the cone maker on a potters' list, 7 May 2003).
CONE_TOLERANCE_C = 2.0
# A bend is read to about a tenth: common practice, no source.
BEND_READ_TO = 0.1
# Neighbours may contradict one another by the tolerances of both and no more is thought of it.
SLIGHT_CONTRADICTION_C = 10.0
# Within this much of a cone's end point it is called that cone.
CALLED_THAT_CONE_C = 3.0


@dataclass(frozen=True)
class ConeBend:
    """One cone of a pack as it was found: `bend` 0 standing, 1 down."""

    cone: str
    bend: float


@dataclass(frozen=True)
class MeasuredCone:
    """What the cones of one place say was reached there, at 60 C per hour, in C.

    `low_c` is None when no cone of the pack went down or bent, `high_c` when all are down: then
    the pack did not bracket what was reached and `middle_c` is None too. `cooler` and `hotter` are
    the neighbours that the middle lies between (the same twice when it is that cone) and `share`
    how far from one to the other, in degrees: with a bent cone the neighbours on the chart, else
    the hottest that is down and the coolest that stands. `contradicts`: a hotter cone bent further
    than a cooler one allows; cones may have been mixed up.
    """

    low_c: float | None
    high_c: float | None
    cooler: str | None = None
    hotter: str | None = None
    share: float | None = None
    was_bending: bool = False
    contradicts: bool = False

    @property
    def middle_c(self) -> float | None:
        if self.low_c is None or self.high_c is None:
            return None
        return (self.low_c + self.high_c) / 2

    @property
    def either_way_c(self) -> float | None:
        if self.low_c is None or self.high_c is None:
            return None
        return (self.high_c - self.low_c) / 2


def bend_from_clock(clock: str) -> float:
    """Return the bend of a cone whose tip points where an hour hand does: "12" 0, "6" 1.

    Takes "4", "4.5", "4,5" or "4:30", from 12 by way of 3 down to 6; a tip that went past 6 is
    down and is written as 6. To two decimals. Raises ValueError for any other text.
    """
    text = clock.strip().replace(",", ".")
    hours, _, minutes = text.partition(":")
    try:
        hour = float(hours) + (int(minutes) / 60 if minutes else 0.0)
    except ValueError as error:
        raise ValueError(f"clock {clock!r} is no time such as 4:30") from error
    is_in_hour = not minutes or (0 <= int(minutes) < 60 and hours.isdigit())
    if 12 <= hour < 13:
        hour -= 12
    if not is_in_hour or not math.isfinite(hour) or not 0 <= hour <= 6:
        raise ValueError(
            f"clock {clock!r} is not from 12 (standing) over 3 to 6 (down); past 6 is 6"
        )
    return round(hour / 6, 2)


def cone_c(cone: str) -> float:
    """The chart's temperature of a self-supporting cone at 60 C per hour. Raises ValueError."""
    return cone_equivalent_c(cone, RATE_C_PER_H)


def measured_cone(pack: Sequence[ConeBend]) -> MeasuredCone:
    """Return what the cones of one place reached. Raises ValueError for an empty pack,
    an unknown cone, one cone twice and a bend that is not from 0 to 1.
    """
    _check_pack(pack)
    spans = [_span_c(seen) for seen in pack]
    low_c, high_c = max(low for low, _ in spans), min(high for _, high in spans)
    contradicts = low_c - high_c > SLIGHT_CONTRADICTION_C
    if low_c > high_c:
        low_c, high_c = high_c, low_c
    if math.isinf(low_c) or math.isinf(high_c):
        low, high = (None if math.isinf(end) else end for end in (low_c, high_c))
        return MeasuredCone(low, high, contradicts=contradicts)
    was_bending = any(0 < seen.bend < 1 for seen in pack)
    cooler, hotter, share = _between((low_c + high_c) / 2, pack, was_bending)
    return MeasuredCone(low_c, high_c, cooler, hotter, share, was_bending, contradicts)


def measured_words(measured: MeasuredCone) -> str:
    """One phrase: "cone 6", "between cone 5 and cone 6", "a third of the way ..."."""
    if measured.low_c is None and measured.high_c is None:
        return "nothing"
    if measured.low_c is None:
        return f"below cone {_hotter_than(measured.high_c or 0.0)}"
    if measured.high_c is None:
        return f"cone {_reached(measured.low_c)} at least: no hotter cone stood beside it"
    if measured.cooler == measured.hotter:
        return f"cone {measured.cooler}"
    between = f"between cone {measured.cooler} and cone {measured.hotter}"
    if not measured.was_bending or measured.share is None:
        return between
    return f"{between}, {measured.share:.0%} of the way"


def difference_in_cones(one_c: float, other_c: float) -> float:
    """How many cones of the chart lie between two temperatures; positive when `one_c` is hotter."""
    return _rank_at(one_c) - _rank_at(other_c)


def _check_pack(pack: Sequence[ConeBend]) -> None:
    if not pack:
        raise ValueError("pack must hold at least one cone, got none")
    cones = [seen.cone for seen in pack]
    if len(set(cones)) < len(cones):
        raise ValueError(f"pack must hold each cone once, got {cones}")
    for seen in pack:
        cone_rank(seen.cone)
        if not 0 <= seen.bend <= 1:
            raise ValueError(f"bend of cone {seen.cone} must lie from 0 to 1, not {seen.bend!r}")


def _span_c(seen: ConeBend) -> tuple[float, float]:
    """The temperatures that a cone's bend allows; open above when down, below when standing."""
    end_c = cone_c(seen.cone)
    short, long = BEND_TAKES_C
    if seen.bend >= 1:
        return end_c - CONE_TOLERANCE_C, math.inf
    if seen.bend <= 0:
        return -math.inf, end_c - short + CONE_TOLERANCE_C
    reading_c = BEND_READ_TO * (short + long) / 2
    left = 1 - seen.bend
    either_way_c = CONE_TOLERANCE_C + reading_c
    return end_c - left * long - either_way_c, end_c - left * short + either_way_c


def _between(temp_c: float, pack: Sequence[ConeBend], was_bending: bool) -> tuple[str, str, float]:
    """The neighbours around a temperature, and how far it is from one to the other.

    Half cones (5.5) are neighbours only where one stood in the pack.
    """
    if not was_bending:
        cooler = max((seen.cone for seen in pack if seen.bend >= 1), key=cone_rank)
        hotter = min((seen.cone for seen in pack if seen.bend <= 0), key=cone_rank)
        if cone_rank(cooler) < cone_rank(hotter):
            return cooler, hotter, _share(temp_c, cooler, hotter)
    own = {seen.cone for seen in pack}
    chart = [cone for cone in CONES if cone in own or "." not in cone]
    nearest = min(chart, key=lambda cone: abs(cone_c(cone) - temp_c))
    is_outside = not cone_c(chart[0]) < temp_c < cone_c(chart[-1])
    if is_outside or abs(cone_c(nearest) - temp_c) <= CALLED_THAT_CONE_C:
        return nearest, nearest, 0.0
    cooler, hotter = next(
        pair for pair in pairwise(chart) if cone_c(pair[0]) <= temp_c < cone_c(pair[1])
    )
    return cooler, hotter, _share(temp_c, cooler, hotter)


def _share(temp_c: float, cooler: str, hotter: str) -> float:
    return (temp_c - cone_c(cooler)) / (cone_c(hotter) - cone_c(cooler))


def _rank_at(temp_c: float) -> float:
    """A place on the chart as a number, straight between cones and carried on beyond its ends."""
    ranks = range(len(CONES) - 1)
    below = next((rank for rank in reversed(ranks) if cone_c(CONES[rank]) <= temp_c), 0)
    low_c, high_c = cone_c(CONES[below]), cone_c(CONES[below + 1])
    return below + (temp_c - low_c) / (high_c - low_c)


def _reached(low_c: float) -> str:
    """The hottest cone whose end point a lower bound reaches, within the cones' tolerance."""
    reached = [cone for cone in CONES if cone_c(cone) - CONE_TOLERANCE_C <= low_c]
    return reached[-1] if reached else CONES[0]


def _hotter_than(high_c: float) -> str:
    """The coolest cone that an upper bound stays below."""
    return next((cone for cone in CONES if cone_c(cone) > high_c), CONES[-1])
