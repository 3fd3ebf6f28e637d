"""How the wear reserves stand: what parts have used, what is saved for them, when they are due."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal

from django.db.models import Q, Sum
from django.db.models.fields.json import KT
from django.db.models.functions import TruncMonth

from billing.calculations.reserves import Component, due_on, fully_funded_minor, percent_funded
from billing.calculations.wall_clock import next_month
from billing.models import CostLine, Posting
from firings.models import Kiln, KilnPart


@dataclass(frozen=True)
class PartStanding:
    """A part in use: charged for it so far, life used and left, in its own units."""

    part: KilnPart
    charged_minor: int
    used: Decimal
    left: Decimal
    fully_funded_minor: int
    due_on: date | None

    @property
    def percent_used(self) -> int:
        return min(100, int(100 * self.used / self.part.expected_life))


@dataclass(frozen=True)
class ReserveStanding:
    """A kiln's reserve: what is in it, and what would be if its parts were fully funded."""

    kiln: Kiln
    balance_minor: int
    fully_funded_minor: int
    percent_funded: int | None
    parts: Sequence[PartStanding]


@dataclass(frozen=True)
class MonthOfReserves:
    """What all reserves held at the end of a month, and what came in and went out in it."""

    month: date
    saved_minor: int
    spent_minor: int
    balance_minor: int


def reserves_on(on: date) -> list[ReserveStanding]:
    """Every kiln with parts, by name, at the end of a day. Three queries, however many kilns."""
    parts = list(
        KilnPart.objects.filter(retired_on=None).select_related("kiln").order_by("kiln", "pk")
    )
    charged, used = _worn([part.pk for part in parts])
    balances = _balances(on)
    by_kiln: dict[int, list[PartStanding]] = defaultdict(list)
    kilns: dict[int, Kiln] = {}
    for part in parts:
        kilns[part.kiln_id] = part.kiln
        by_kiln[part.kiln_id].append(
            _part_standing(part, charged.get(part.pk, 0), used.get(part.pk, Decimal(0)), on)
        )
    return [
        _reserve(kilns[pk], by_kiln[pk], balances.get(pk, 0))
        for pk in sorted(kilns, key=lambda pk: kilns[pk].name)
    ]


def reserve_months(on: date, months: int = 12) -> list[MonthOfReserves]:
    """The reserves of all kilns together, month by month up to that of a day. One query."""
    rows = (
        Posting.objects.filter(
            account__kiln__isnull=False,
            entry__posted_at__isnull=False,
            entry__on__lte=on,
        )
        .annotate(month=TruncMonth("entry__on"))
        .order_by("month")
        .values_list("month")
        .annotate(
            saved=-Sum("amount_minor", filter=Q(amount_minor__lt=0), default=0),
            spent=Sum("amount_minor", filter=Q(amount_minor__gt=0), default=0),
        )
    )
    moved = {month: (saved_minor, spent_minor) for month, saved_minor, spent_minor in rows}
    found: list[MonthOfReserves] = []
    balance_minor = 0
    month = min([*moved, on.replace(day=1)])
    while month <= on:
        saved_minor, spent_minor = moved.get(month, (0, 0))
        balance_minor += saved_minor - spent_minor
        found.append(MonthOfReserves(month, saved_minor, spent_minor, balance_minor))
        month = next_month(month)
    return found[-months:]


def _part_standing(part: KilnPart, charged_minor: int, used: Decimal, on: date) -> PartStanding:
    component = _component(part, used)
    days = max((on - part.fitted_on).days, 1)
    return PartStanding(
        part=part,
        charged_minor=charged_minor,
        used=used,
        left=component.life_left,
        fully_funded_minor=fully_funded_minor(component),
        due_on=due_on(component, used, days, on),
    )


def _reserve(kiln: Kiln, parts: Sequence[PartStanding], balance_minor: int) -> ReserveStanding:
    components = [_component(standing.part, standing.used) for standing in parts]
    return ReserveStanding(
        kiln=kiln,
        balance_minor=balance_minor,
        fully_funded_minor=sum(standing.fully_funded_minor for standing in parts),
        percent_funded=percent_funded(balance_minor, components),
        parts=parts,
    )


def _component(part: KilnPart, used: Decimal) -> Component:
    return Component(part.replacement_cost_minor, part.expected_life, used)


def _worn(parts: Sequence[int]) -> tuple[dict[int, int], dict[int, Decimal]]:
    """What was charged for parts and the life it stands for; costs taken back do not count."""
    charged: dict[int, int] = defaultdict(int)
    used: dict[int, Decimal] = defaultdict(Decimal)
    lines = CostLine.objects.filter(part__in=parts, cost__reversed_at=None).order_by()
    # as text: plain keys of JSON come back as floats on SQLite
    worn = lines.values_list("part", "amount_minor", KT("working__units"))
    for pk, amount_minor, units in worn:
        if pk is not None:
            charged[pk] += amount_minor
            used[pk] += Decimal(units)
    return charged, used


def _balances(on: date) -> dict[int, int]:
    """What is in each kiln's reserve: a liability, so credits count."""
    rows = (
        Posting.objects.filter(
            account__kiln__isnull=False, entry__posted_at__isnull=False, entry__on__lte=on
        )
        .order_by()
        .values_list("account__kiln")
        .annotate(Sum("amount_minor"))
    )
    return {pk: -(minor or 0) for pk, minor in rows if pk is not None}
