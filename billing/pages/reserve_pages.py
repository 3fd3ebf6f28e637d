"""Wear reserves: how each kiln's parts are saved for, drawn and in figures."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone

from billing.actions.life_estimates import estimate_part_anew, units_used
from billing.actions.reserves import MonthOfReserves, reserve_months, reserves_on
from billing.pages.membership_forms import EstimateForm
from billing.pages.my_account import today
from firings.models import KilnPart
from studio.models import Role
from studio.pages.access import needs
from studio.pages.answers import answer_form
from studio.pages.context import units_of

KEEPERS = (Role.TREASURER, Role.MANAGER)
WIDTH, HEIGHT, FOOT, LEFT = 720, 260, 220, 10
BAR_SHARE = 0.7


@dataclass(frozen=True)
class Bar:
    """One month of the picture: a bar as high as the reserves were at its end."""

    month: MonthOfReserves
    x: float
    y: float
    width: float
    height: float

    @property
    def middle(self) -> float:
        return round(self.x + self.width / 2, 1)


@needs(*KEEPERS)
def reserves(request: HttpRequest) -> HttpResponse:
    day = today(request)
    months = reserve_months(day)
    context = {
        "reserves": reserves_on(day),
        "months": months,
        "bars": bars_of(months),
        "width": WIDTH,
        "height": HEIGHT,
        "foot": FOOT,
    }
    return render(request, "billing/reserves.html", context)


@needs(*KEEPERS)
def estimate(request: HttpRequest, pk: int) -> HttpResponse:
    part = get_object_or_404(KilnPart.objects.select_related("kiln"), pk=pk, retired_on=None)
    return answer_form(
        request,
        partial(EstimateForm, units=units_of(request)),
        "billing/estimate_part.html",
        lambda cleaned: estimate_part_anew(
            by=request.user, at=timezone.now(), part=part, **cleaned
        ),
        context={"part": part, "used": units_used([pk])[pk]},
        initial={
            "replacement_cost_minor": part.replacement_cost_minor,
            "expected_life": part.expected_life,
        },
        done="Estimated anew. What was charged stays; what is left is spread over the life left.",
        then="billing:reserves",
    )


def bars_of(months: Sequence[MonthOfReserves]) -> list[Bar]:
    """The months side by side, scaled to the highest; a reserve below nothing has no bar."""
    highest = max((month.balance_minor for month in months), default=0) or 1
    step = (WIDTH - 2 * LEFT) / max(len(months), 1)
    return [
        Bar(
            month,
            x=round(LEFT + number * step + step * (1 - BAR_SHARE) / 2, 1),
            y=round(FOOT - _height(month, highest), 1),
            width=round(step * BAR_SHARE, 1),
            height=round(_height(month, highest), 1),
        )
        for number, month in enumerate(months)
    ]


def _height(month: MonthOfReserves, highest: int) -> float:
    return (FOOT - 30) * max(month.balance_minor, 0) / highest
