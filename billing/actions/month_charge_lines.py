"""The fixed and demand charges of a month, and how they fall on its firings' accounts."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from decimal import Decimal
from fractions import Fraction
from typing import Any

from billing.actions.energy_pricing import LONGEST, intervals_of
from billing.actions.month_charge_words import ChargeWords
from billing.calculations.bill import DemandLine, demand_lines, fixed_lines, within
from billing.calculations.charges import percent_rate
from billing.calculations.metered_energy import EnergyInterval
from billing.calculations.month_sharing import (
    Carried,
    SharingFiring,
    share_by_area,
    share_by_peak,
)
from billing.calculations.tariff_documents import from_json
from billing.calculations.tariffs import Tariff
from billing.calculations.wall_clock import day_start, next_month
from billing.models import ChargeKind, FiringCost, TariffVersion
from firings.models import Firing, FiringState
from studio.calculations.money import minor_digits, round_half_up
from studio.models import Account, Studio


@dataclass(frozen=True)
class ChargeLine:
    """One charge with its taxes in minor units, its working, and what each party carries."""

    kind: ChargeKind
    text: str
    tariff: TariffVersion
    amount_minor: int
    working: Mapping[str, Any]
    carried: Mapping[int, Carried]
    energy_wh_of: Mapping[int, int] = field(default_factory=dict)


@dataclass(frozen=True)
class MonthFirings:
    """Priced firings: those of the month for their area, all that ran in it for their energy."""

    of_month: Sequence[SharingFiring]
    running: Sequence[SharingFiring]
    loads: Mapping[int, Sequence[EnergyInterval]]
    firing_of: Mapping[int, Firing]
    account_of: Mapping[int, Account]


@dataclass(frozen=True)
class VersionDays:
    """A tariff version and the days of a month on which it holds, both included."""

    version: TariffVersion
    tariff: Tariff
    first_day: date
    last_day: date


def versions_in(month: date) -> list[VersionDays]:
    """The versions of a month, each with its days, the oldest first."""
    end = next_month(month)
    found = list(TariffVersion.objects.filter(valid_from__lt=end).order_by("valid_from"))
    firsts = [max(version.valid_from, month) for version in found]
    ends = [*(later.valid_from for later in found[1:]), end][: len(found)]
    lasts = [day - timedelta(days=1) for day in ends]
    return [
        VersionDays(version, from_json(version.rates), first, last)
        for version, first, last in zip(found, firsts, lasts, strict=True)
        if first <= last
    ]


def has_monthly_charges(month: date) -> bool:
    """Whether a tariff of the month charges something that no single firing causes."""
    return any(days.tariff.has_monthly_charges for days in versions_in(month))


def charge_lines(
    month: date, at: datetime, studio: Studio
) -> tuple[list[ChargeLine], MonthFirings]:
    """Each charge of a month by version, shared; lines of nothing are left out."""
    firings = _month_firings(month, at, studio)
    lines = [
        line
        for days in versions_in(month)
        if days.tariff.has_monthly_charges
        for line in _lines_of(days, firings, studio)
    ]
    return [line for line in lines if line.amount_minor], firings


def _lines_of(days: VersionDays, firings: MonthFirings, studio: Studio) -> Iterator[ChargeLine]:
    rate = 1 + percent_rate(days.tariff.taxes)
    factor = rate * 10 ** minor_digits(studio.currency)
    words = ChargeWords(studio, days.tariff)
    fixed = list(fixed_lines(days.tariff, days.first_day, days.last_day))
    if fixed:
        amount_minor = round_half_up(sum((line.cost for line in fixed), Fraction(0)) * factor)
        yield ChargeLine(
            ChargeKind.FIXED,
            words.title(ChargeKind.FIXED.label, days.version, days.first_day, days.last_day),
            days.version,
            amount_minor,
            {"sentence": words.fixed(fixed, amount_minor)},
            share_by_area(amount_minor, firings.of_month),
        )
    zone = days.tariff.zone or studio.zone
    loads = {
        key: within(load, days.first_day, days.last_day, zone)
        for key, load in firings.loads.items()
    }
    for demand in demand_lines(days.tariff, loads, days.first_day, days.last_day):
        amount_minor = round_half_up(demand.line.cost * factor)
        yield _demand_line(days, demand, amount_minor, firings, words)


def _demand_line(
    days: VersionDays,
    demand: DemandLine[int],
    amount_minor: int,
    firings: MonthFirings,
    words: ChargeWords,
) -> ChargeLine:
    peak = demand.peak
    energy_wh_of = {key: int(wh) for key, wh in peak.energy_wh_of.items()} if peak else {}
    return ChargeLine(
        ChargeKind.DEMAND,
        words.title(demand.charge.name, days.version, days.first_day, days.last_day),
        days.version,
        amount_minor,
        {
            "sentence": words.demand(demand, amount_minor),
            "peak_at": peak.start_at.isoformat() if peak else None,
            "window_minutes": demand.charge.window_minutes,
            "peak_kw": str(Decimal(peak.kw.numerator) / peak.kw.denominator) if peak else "0",
            "energy_wh_of_firings": {str(key): wh for key, wh in energy_wh_of.items()},
        },
        share_by_peak(amount_minor, energy_wh_of, firings.running),
        energy_wh_of,
    )


def _month_firings(month: date, at: datetime, studio: Studio) -> MonthFirings:
    start_at, end_at = (day_start(day, studio.zone) for day in (month, next_month(month)))
    costs = (
        FiringCost.objects.filter(
            reversed_at=None,
            firing__started_at__gte=start_at - LONGEST,
            firing__started_at__lt=end_at + timedelta(days=1),
        )
        .select_related("firing__kiln")
        .prefetch_related("shares__account")
        .order_by("firing__started_at", "pk")
    )
    of_month: list[SharingFiring] = []
    running: list[SharingFiring] = []
    loads: dict[int, list[Any]] = {}
    firing_of: dict[int, Firing] = {}
    account_of: dict[int, Account] = {}
    for cost in costs:
        firing = cost.firing
        reached = [part for part in intervals_of(firing, at) if part.end_at > start_at]
        is_of_month = start_at <= (firing.started_at or at) < end_at
        if not reached and not is_of_month:
            continue
        firing_of[firing.pk] = firing
        loads[firing.pk] = reached
        running.append(_sharing_firing(cost, account_of))
        if is_of_month:
            of_month.append(running[-1])
    return MonthFirings(of_month, running, loads, firing_of, account_of)


def _sharing_firing(cost: FiringCost, account_of: dict[int, Account]) -> SharingFiring:
    firing = cost.firing
    area_mm2_of: dict[int, int] = {}
    for share in cost.shares.all():
        number = share.account.number
        account_of[number] = share.account
        area_mm2_of[number] = area_mm2_of.get(number, 0) + share.area_mm2
    return SharingFiring(
        firing.pk,
        area_mm2_of,
        is_fault=firing.is_kiln_fault or firing.state == FiringState.ABORTED,
        is_without_ware=firing.is_empty_first_firing,
    )
