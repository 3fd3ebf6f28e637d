"""Recovery of the electricity bill: what the utility charged, and what the firings account for.

The difference is lights, wheels and rounding: it is shown, never spread.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import date, timedelta

from billing.calculations.recovery import members_part_minor
from billing.calculations.wall_clock import day_start, next_month
from billing.models import CostKind, CostLine, MonthCharges, UtilityBill
from studio.models import Studio


@dataclass
class Recovered:
    """One bill beside the firings that started in its days and the charges shared in them."""

    bill: UtilityBill
    firings_count: int = 0
    firings_wh: int = 0
    members_minor: int = 0
    studio_minor: int = 0
    months_shared: list[date] = field(default_factory=list)

    @property
    def other_wh(self) -> int:
        """Lights, wheels and what the meters disagree about; negative: the kilns count more."""
        return self.bill.energy_wh - self.firings_wh

    @property
    def other_wh_size(self) -> int:
        return abs(self.other_wh)

    @property
    def recovered_minor(self) -> int:
        return self.members_minor + self.studio_minor

    @property
    def other_minor(self) -> int:
        return self.bill.amount_minor - self.recovered_minor


def recovery(bills: Sequence[UtilityBill] | None = None) -> list[Recovered]:
    """Each bill that stands with what was recovered of it, newest first. Three queries.

    A firing counts for the bill in whose days it started, with its electricity's amount; the
    shared charges of a month count for the bill that covers the month's last day.
    """
    found = UtilityBill.objects.filter(reversed_at=None) if bills is None else bills
    rows = sorted((Recovered(bill) for bill in found), key=lambda row: row.bill.first_day)
    if not rows:
        return []
    zone = Studio.current().zone
    lines = CostLine.objects.filter(
        kind=CostKind.ENERGY,
        cost__reversed_at=None,
        cost__firing__started_at__gte=day_start(rows[0].bill.first_day, zone),
        cost__firing__started_at__lt=day_start(rows[-1].bill.last_day + timedelta(days=1), zone),
    ).values_list(
        "cost__firing__started_at",
        "cost__firing__energy_wh",
        "amount_minor",
        "cost__pool_minor",
        "cost__studio_minor",
    )
    for started_at, energy_wh, amount_minor, pool_minor, studio_minor in lines:
        row = _row_of(rows, started_at.astimezone(zone).date()) if started_at else None
        if row is not None:
            members_minor = members_part_minor(amount_minor, pool_minor, studio_minor)
            row.firings_count += 1
            row.firings_wh += energy_wh or 0
            row.members_minor += members_minor
            row.studio_minor += amount_minor - members_minor
    _add_month_charges(rows)
    return rows[::-1]


def _add_month_charges(rows: Sequence[Recovered]) -> None:
    shared = MonthCharges.objects.filter(
        reversed_at=None,
        month__gte=rows[0].bill.first_day.replace(day=1),
        month__lte=rows[-1].bill.last_day,
    ).order_by("month")
    for charges in shared:
        row = _row_of(rows, next_month(charges.month) - timedelta(days=1))
        if row is not None:
            row.months_shared.append(charges.month)
            row.members_minor += charges.total_minor - charges.studio_minor
            row.studio_minor += charges.studio_minor


def _row_of(rows: Sequence[Recovered], day: date) -> Recovered | None:
    position = bisect_right([row.bill.first_day for row in rows], day) - 1
    if position < 0 or rows[position].bill.last_day < day:
        return None
    return rows[position]
