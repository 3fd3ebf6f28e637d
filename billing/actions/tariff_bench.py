"""What past firings would have cost under a tariff: a version, or a draft that nobody has added.

Nothing is written. What the kilns used in a month is priced as one bill, fixed charges included;
one firing without them, as if it had set the month's highest demand.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from billing.actions.energy_pricing import LONGEST, intervals_of
from billing.actions.tariffs import read_rates
from billing.calculations.bill import Bill, bill_of, bill_of_firing, within
from billing.calculations.tariff_documents import from_json
from billing.calculations.tariffs import Tariff
from billing.calculations.wall_clock import day_start, next_month
from billing.models import TariffVersion
from billing.refusals import BillingRefusal
from firings.models import Firing
from studio.calculations.money import minor_digits
from studio.models import Studio

DRAFT = "The draft"


@dataclass(frozen=True)
class BenchTariff:
    """A tariff to try, under the name it is shown with; a draft has no id."""

    name: str
    tariff: Tariff
    id: int | None = None


@dataclass(frozen=True)
class BenchResult:
    """What some firings would have cost under one tariff."""

    name: str
    id: int | None
    bill: Bill
    total_minor: int


def bench_tariffs(
    versions: Sequence[TariffVersion], draft: Mapping[str, Any] | None = None
) -> list[BenchTariff]:
    """Versions and a draft, ready to try. Refuses a draft that cannot be used."""
    tried = [
        BenchTariff(
            f"{version.name}, from {version.valid_from}", from_json(version.rates), version.pk
        )
        for version in versions
    ]
    return [*tried, BenchTariff(DRAFT, read_rates(draft))] if draft is not None else tried


def bench_firing(firing: Firing, tried: Sequence[BenchTariff], at: datetime) -> list[BenchResult]:
    """One firing under each tariff. Refused while its energy is not known."""
    if not firing.energy_wh or firing.started_at is None:
        raise BillingRefusal(
            "energy_unknown",
            f"How much electricity {firing} used is not known, so no tariff can price it.",
            field="firing",
        )
    studio = Studio.current()
    month = firing.started_at.astimezone(studio.zone).date()
    load = intervals_of(firing, at)
    return [_result(one, bill_of_firing(one.tariff, load, month), studio) for one in tried]


def bench_month(month: date, tried: Sequence[BenchTariff], at: datetime) -> list[BenchResult]:
    """All that the kilns used in a month of the studio, as one bill under each tariff."""
    studio, first_day = Studio.current(), month.replace(day=1)
    last_day = next_month(first_day) - timedelta(days=1)
    firings = firings_with_energy().filter(
        started_at__gte=day_start(first_day, studio.zone) - LONGEST,
        started_at__lt=day_start(next_month(first_day), studio.zone),
    )
    # Cut here, so that a tariff that needs no time zone prices the same energy as the others.
    loads = {
        firing.pk: within(intervals_of(firing, at), first_day, last_day, studio.zone)
        for firing in firings
    }
    return [_result(one, bill_of(one.tariff, loads, first_day, last_day), studio) for one in tried]


def firings_with_energy() -> Any:
    """Firings that a tariff can price, the newest first."""
    return (
        Firing.objects.filter(energy_wh__gt=0, started_at__isnull=False)
        .select_related("kiln")
        .order_by("-started_at")
    )


def _result(one: BenchTariff, bill: Bill, studio: Studio) -> BenchResult:
    return BenchResult(one.name, one.id, bill, bill.total_minor(minor_digits(studio.currency)))
