"""What sharing the fixed and demand charges of a month would do: lines, shares, what is missing."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from django.db.models import Exists, OuterRef

from billing.actions.ledger import day_words, local_day
from billing.actions.month_charge_lines import ChargeLine, MonthFirings, charge_lines
from billing.actions.month_charge_words import share_by_area_words, share_by_peak_words
from billing.calculations.month_sharing import FAULTS, STUDIO, WITHOUT_WARE, Carried
from billing.calculations.wall_clock import day_start, next_month
from billing.models import ChargeKind, FiringCost, MonthCharges
from billing.refusals import BillingRefusal
from firings.models import Firing, FiringState
from studio.models import Account, Studio

REASONS = {
    FAULTS: "kiln faults and broken-off firings",
    WITHOUT_WARE: "firings without ware, or a month without any",
}


@dataclass(frozen=True)
class AccountShare:
    """What an account carries of a month's charges: by line, and in sentences."""

    account: Account
    amount_minor: int
    working: Mapping[str, Any]


@dataclass(frozen=True)
class StudioPart:
    """What the studio carries of them, and why."""

    party: int
    reason: str
    amount_minor: int


@dataclass(frozen=True)
class SharingPreview:
    """What sharing a month's charges would do, and what hinders it.

    Firings without a cost take no part: `firings_unpriced` do not hinder, but come first.
    """

    month: date
    hindrance: BillingRefusal | None
    lines: Sequence[ChargeLine]
    shares: Sequence[AccountShare]
    studio_parts: Sequence[StudioPart]
    firings_unpriced: Sequence[Firing]

    @property
    def total_minor(self) -> int:
        return sum(line.amount_minor for line in self.lines)

    @property
    def studio_minor(self) -> int:
        return sum(part.amount_minor for part in self.studio_parts)

    @property
    def members_minor(self) -> int:
        return self.total_minor - self.studio_minor


def preview_month_charges(month: date, at: datetime) -> SharingPreview:
    """What `share_month_charges` would do at a moment, without doing it."""
    month, studio = month.replace(day=1), Studio.current()
    lines, firings = charge_lines(month, at, studio)
    preview = SharingPreview(
        month=month,
        hindrance=None,
        lines=lines,
        shares=_account_shares(lines, firings, studio),
        studio_parts=_studio_parts(lines),
        firings_unpriced=_unpriced(month, studio),
    )
    hindrance = _hindrance(month, lines, at)
    return replace(preview, hindrance=hindrance)


def standing_charges(month: date) -> MonthCharges | None:
    """What was shared of a month and not taken back."""
    return MonthCharges.objects.filter(month=month.replace(day=1), reversed_at=None).first()


def _hindrance(month: date, lines: Sequence[ChargeLine], at: datetime) -> BillingRefusal | None:
    name = f"{month:%B %Y}"
    if standing_charges(month) is not None:
        return BillingRefusal(
            "charges_shared",
            f"The charges of {name} are shared already. Take them back first to share them again.",
            field="month",
        )
    if next_month(month) > local_day(at):
        return BillingRefusal(
            "month_not_over",
            f"{name} is not over yet: its highest demand is not known before "
            f"{day_words(next_month(month))}.",
            field="month",
        )
    if not lines:
        return BillingRefusal(
            "no_charges",
            f"The tariff of {name} has no fixed and no demand charges: there is nothing to share.",
            field="month",
        )
    return None


def _unpriced(month: date, studio: Studio) -> list[Firing]:
    standing = FiringCost.objects.filter(firing=OuterRef("pk"), reversed_at=None)
    firings = Firing.objects.filter(
        started_at__gte=day_start(month, studio.zone),
        started_at__lt=day_start(next_month(month), studio.zone),
    ).exclude(state=FiringState.CANCELLED)
    return list(firings.exclude(Exists(standing)).select_related("kiln").order_by("started_at"))


def _account_shares(
    lines: Sequence[ChargeLine], firings: MonthFirings, studio: Studio
) -> list[AccountShare]:
    numbers = sorted({party for line in lines for party in line.carried if party not in STUDIO})
    return [_account_share(number, lines, firings, studio) for number in numbers]


def _account_share(
    number: int, lines: Sequence[ChargeLine], firings: MonthFirings, studio: Studio
) -> AccountShare:
    parts, sentences = [], []
    for line in lines:
        carried = line.carried.get(number)
        if carried is None:
            continue
        parts.append(
            {
                "kind": line.kind.value,
                "text": line.text,
                "line_minor": line.amount_minor,
                "exact_minor": f"{carried.exact_minor.numerator}/{carried.exact_minor.denominator}",
                "amount_minor": carried.amount_minor,
            }
        )
        sentences += [
            str(line.working["sentence"]),
            _share_words(number, line, carried, firings, studio),
        ]
    return AccountShare(
        firings.account_of[number],
        sum(part["amount_minor"] for part in parts),  # type: ignore[misc]
        {"parts": parts, "sentences": sentences},
    )


def _share_words(
    number: int, line: ChargeLine, carried: Carried, firings: MonthFirings, studio: Studio
) -> str:
    if line.kind == ChargeKind.FIXED:
        own_mm2 = sum(
            firing.area_mm2_of.get(number, 0)
            for firing in firings.of_month
            if firing.carrier is None
        )
        total_mm2 = sum(firing.area_mm2 for firing in firings.of_month)
        return share_by_area_words(
            line.amount_minor, own_mm2, total_mm2, carried.exact_minor, carried.amount_minor, studio
        )
    parts = [
        (
            firings.firing_of[firing.key],
            firing,
            firing.area_mm2_of[number],
            line.energy_wh_of[firing.key],
        )
        for firing in firings.running
        if firing.carrier is None
        and number in firing.area_mm2_of
        and line.energy_wh_of.get(firing.key)
    ]
    return share_by_peak_words(
        line.amount_minor,
        parts,
        sum(line.energy_wh_of.values()),
        carried.exact_minor,
        carried.amount_minor,
        studio,
    )


def _studio_parts(lines: Sequence[ChargeLine]) -> list[StudioPart]:
    parts = []
    for party, reason in REASONS.items():
        amount_minor = sum(
            line.carried[party].amount_minor for line in lines if party in line.carried
        )
        if amount_minor:
            parts.append(StudioPart(party, reason, amount_minor))
    return parts
