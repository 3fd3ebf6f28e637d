"""A kiln's health in sentences: what was seen, how sure it is, and who decides."""

from __future__ import annotations

from decimal import Decimal
from typing import Any, cast

from babel.dates import format_date

from firings.actions.kiln_trends import KilnTrends
from firings.calculations.kiln_health import (
    AGEING,
    BY_RESISTANCE,
    FIRINGS_ENOUGH,
    NO_EVIDENCE,
    WORN,
    Trend,
)
from firings.calculations.kiln_offset import ADVICE_FIRINGS_MIN, OffsetAdvice
from studio.calculations.quantities import c_per_h_to
from studio.pages.context import Units

WEAR_TITLES = {
    WORN: "The elements look worn",
    AGEING: "The elements age",
    NO_EVIDENCE: "Nothing can be said of the elements yet",
}


def degrees(difference_c: float, units: Units) -> float:
    """A difference of temperatures in the reader's degrees: it has no zero to shift."""
    unit = cast("Any", units.temperature)
    return float(c_per_h_to(Decimal(str(round(difference_c, 4))), unit))


def degree_words(difference_c: float, units: Units) -> str:
    return f"{abs(degrees(difference_c, units)):.0f} °{units.temperature}"


def wear_title(trends: KilnTrends) -> str:
    return WEAR_TITLES.get(trends.wear.verdict, "The elements hold steady")


def wear_sentence(trends: KilnTrends, units: Units) -> str:
    """What the evidence is, with its range; nothing is concluded from little."""
    wear = trends.wear
    if wear.trend is None:
        return (
            f"It takes {FIRINGS_ENOUGH} firings of like loads with these elements that ran at full "
            "power, with power or duty in their logs."
        )
    if wear.basis == BY_RESISTANCE:
        what = "The resistance of all elements, from measured power and the plate's voltage,"
    else:
        what = "The heating rate at full power"
    sentence = f"{what} {_change_words(wear.trend, units)}."
    if wear.verdict == WORN:
        sentence += (
            " A technician's rule replaces elements at about 10 % more resistance, which is 9 % "
            "less power: common practice, no standard."
        )
    if wear.basis != BY_RESISTANCE:
        sentence += " Heavier loads and a lower mains voltage do the same."
    return sentence


def _change_words(trend: Trend, units: Units) -> str:
    since = format_date(trend.first_at, "d MMM y", locale=units.locale)
    low, high = sorted((trend.lower, trend.upper))
    moved = "rose" if trend.change > 0 else "fell"
    if not trend.is_sure:
        moved = "may have risen" if trend.change > 0 else "may have fallen"
    return (
        f"{moved} by {abs(trend.change):.0%} over {trend.firings_count} firings since {since} "
        f"(95 % range {low:+.0%} to {high:+.0%})"
    )


def energy_sentence_of(trends: KilnTrends, units: Units) -> str:
    """How the energy of like firings moved, in one sentence; empty without evidence."""
    if trends.energy is None:
        return ""
    return f"The energy of like firings {_change_words(trends.energy, units)}."


def offset_sentence(advice: OffsetAdvice | None, units: Units) -> str:
    """The offset as a number to consider, never an instruction."""
    if advice is None:
        return (
            f"It takes {ADVICE_FIRINGS_MIN} firings with a log and with cone packs in which one "
            "cone went down and a hotter one did not."
        )
    either_way = degree_words(advice.either_way_c, units)
    if not advice.stands_out:
        return (
            f"In the last {advice.firings_count} firings the log and the cones agree within what "
            f"can be told: {degree_words(advice.mean_c, units)} apart, give or take {either_way}."
        )
    side = "higher" if advice.mean_c < 0 else "lower"
    return (
        f"The last {advice.firings_count} firings read {degree_words(advice.mean_c, units)} {side} "
        f"than the cones say, give or take {either_way}. Makers of controllers call this the "
        "thermocouple offset. It is a number to consider: the kiln's manual and a person decide, "
        "and a worn thermocouple or a cone pack far from it can be the cause."
    )


def witness_words(trends: KilnTrends) -> str:
    if trends.witness_days is None:
        return f"none was ever read; {_firings(trends.witness_firings)} closed"
    days = _days_ago(trends.witness_days)
    return f"read {days}; {_firings(trends.witness_firings)} closed since"


def _firings(count: int) -> str:
    return "1 firing" if count == 1 else f"{count} firings"


def _days_ago(days: int) -> str:
    return {0: "within the last day", 1: "1 day ago"}.get(days, f"{days} days ago")
