"""The utility's bills: what the kilns used, and the lights and wheels beside them. Invented."""

from __future__ import annotations

import random
from datetime import date, datetime, timedelta
from functools import partial

from django.db.models import Sum

from billing.actions.utility_bills import pay_utility_bill, record_utility_bill
from billing.calculations.wall_clock import day_start, next_month
from billing.demo.scene import SEED, ZONE, Scene, day_of
from billing.models import CostKind, CostLine, MonthCharges, UtilityBill

# Lights, wheels and the pug mill of a month, and what a kWh of them costs.
OTHER_KWH = (170, 310)
OTHER_PRICE_MINOR = 17


class ElectricityBills:
    """One for each month. Their dice are their own, so that the rest of the story keeps its."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self.dice = random.Random(SEED + 1)  # noqa: S311

    def enter(self, month: date, at: datetime) -> None:
        """The bill of a month that is over; paid some days later."""
        end = next_month(month)
        lines = CostLine.objects.filter(
            kind=CostKind.ENERGY,
            cost__reversed_at=None,
            cost__firing__started_at__gte=day_start(month, ZONE),
            cost__firing__started_at__lt=day_start(end, ZONE),
        )
        fired = lines.aggregate(
            wh=Sum("cost__firing__energy_wh", default=0), minor=Sum("amount_minor", default=0)
        )
        shared = MonthCharges.objects.filter(month=month, reversed_at=None)
        shared_minor = shared.aggregate(minor=Sum("total_minor", default=0))["minor"]
        other_kwh = self.dice.randint(*OTHER_KWH)
        bill = record_utility_bill(
            by=self.scene.treasurer,
            at=at,
            first_day=max(month, self.scene.first_day),
            last_day=end - timedelta(days=1),
            billed_on=day_of(at),
            energy_wh=fired["wh"] + other_kwh * 1000,
            amount_minor=fired["minor"] + shared_minor + other_kwh * OTHER_PRICE_MINOR,
            reference=f"ML-{month:%Y%m}",
        )
        paid_at = self.scene.moment(day_of(at, self.dice.randint(6, 13)), "10:40")
        self.scene.timeline.plan(paid_at, partial(self._pay, bill))

    def _pay(self, bill: UtilityBill, at: datetime) -> None:
        pay_utility_bill(by=self.scene.treasurer, at=at, bill=bill, paid_on=day_of(at))
