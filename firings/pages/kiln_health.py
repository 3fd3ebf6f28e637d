"""A kiln's health: its offset, heating rate, energy and resistance, firing after firing."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from firings.actions.kiln_trends import FiringTold, KilnTrends, kiln_trends
from firings.calculations.kiln_offset import OffsetRun
from firings.models import Kiln
from firings.pages.health_words import (
    degrees,
    energy_sentence_of,
    offset_sentence,
    wear_sentence,
    wear_title,
    witness_words,
)
from firings.pages.trend_chart import TrendChart, TrendLimits, TrendRun, draw_trend
from studio.models import Role
from studio.pages.access import needs
from studio.pages.context import Units, studio_of, units_of


@needs(Role.MANAGER, Role.CREW, Role.TREASURER)
def health(request: HttpRequest, pk: int) -> HttpResponse:
    kiln = get_object_or_404(Kiln, pk=pk)
    trends = kiln_trends(kiln, at=timezone.now())
    context = {"kiln": kiln, **health_context(trends, units_of(request))}
    context["charts"] = _charts(request, trends)
    context["rows"] = [_row(told, units_of(request)) for told in reversed(trends.firings)]
    return render(request, "firings/kiln_health.html", context)


def health_context(trends: KilnTrends, units: Units) -> dict[str, Any]:
    """What a kiln's page and its page of trends both say."""
    return {
        "trends": trends,
        "wear_title": wear_title(trends),
        "wear_sentence": wear_sentence(trends, units),
        "energy_trend_sentence": energy_sentence_of(trends, units),
        "offset_sentence": offset_sentence(trends.offset_advice, units),
        "witness_words": witness_words(trends),
    }


def _charts(request: HttpRequest, trends: KilnTrends) -> list[tuple[str, str, TrendChart | None]]:
    """Title, what stands there without a picture, and the picture."""
    units, zone = units_of(request), studio_of(request).zone
    marks = [change.at for change in trends.changes]

    def drawn(runs: list[TrendRun], label: str, unit: str) -> TrendChart | None:
        return draw_trend(runs, label=label, unit=unit, locale=units.locale, zone=zone, marks=marks)

    def of_ware(value_of: Callable[[FiringTold], float | None]) -> list[TrendRun]:
        return _by_like(trends, value_of)

    degree = f"°{units.temperature}"
    return [
        (
            "Offset: cones minus log",
            "No firing yet has both a log and a cone pack that brackets what was reached.",
            drawn([_offset_run(run, units) for run in trends.offset_runs], "Offset", degree),
        ),
        (
            "Heating rate at full power, 600 to 900 °C",
            "No firing's log shows ten minutes at full power in this band.",
            drawn(
                of_ware(lambda one: _degrees_or_none(one.rate_c_per_h, units)),
                "Heating rate",
                f"{degree}/h",
            ),
        ),
        (
            "Energy of each firing",
            "No firing is closed yet.",
            drawn(of_ware(lambda one: one.energy_wh and one.energy_wh / 1000), "Energy", "kWh"),
        ),
        (
            "Resistance of all elements",
            "No firing's log shows its power at full power, and no meter tells it.",
            drawn(of_ware(lambda one: one.resistance_ohm), "Resistance", "Ω"),
        ),
    ]


def _row(told: FiringTold, units: Units) -> dict[str, Any]:
    return {
        "told": told,
        "offset": _signed(told.offset_c, told.offset_either_way_c, units),
        "top_minus_bottom": _signed(told.top_minus_bottom_c, None, units),
    }


def _signed(difference_c: float | None, either_way_c: float | None, units: Units) -> str:
    """A difference with its sign, and its range where there is one: "-8 ± 3 °C"."""
    if difference_c is None:
        return "–"
    rounded = round(degrees(difference_c, units))
    shown = f"{rounded:+d}" if rounded else "0"
    if either_way_c is not None:
        shown += f" ± {degrees(either_way_c, units):.0f}"
    return f"{shown} °{units.temperature}"


def _degrees_or_none(rate_c_per_h: float | None, units: Units) -> float | None:
    return None if rate_c_per_h is None else degrees(rate_c_per_h, units)


def _by_like(trends: KilnTrends, value_of: Callable[[FiringTold], float | None]) -> list[TrendRun]:
    """One line for each stage and cone: only like loads are joined."""
    points: dict[tuple[str, str], list[Any]] = {}
    for one in trends.firings:
        value = value_of(one)
        if value and not one.is_empty:
            points.setdefault((one.stage, one.cone), []).append((one.started_at, value))
    return [TrendRun(tuple(run)) for run in points.values()]


def _offset_run(run: OffsetRun, units: Units) -> TrendRun:
    points = tuple((one.at, degrees(one.offset_c, units)) for one in run.offsets)
    if run.chart is None:
        return TrendRun(points)
    chart = run.chart
    limits = TrendLimits(*(degrees(c, units) for c in (chart.centre, chart.lower, chart.upper)))
    return TrendRun(points, limits, chart.outside)
