"""The electricity tariff: versions with the day they hold from, never edited in place."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, timedelta
from decimal import Decimal
from typing import Any

from django.db import transaction
from django.db.models import Q

from billing.actions.energy_pricing import LONGEST
from billing.actions.ledger import day_words, hold_ledger
from billing.calculations.prices import TariffError
from billing.calculations.tariff_documents import from_json, to_json
from billing.calculations.tariff_prices import dearest_kwh
from billing.calculations.tariffs import Tariff
from billing.calculations.wall_clock import day_start
from billing.models import (
    CostKind,
    CostLine,
    FiringCost,
    MonthChargeLine,
    MonthCharges,
    TariffVersion,
)
from billing.refusals import BillingRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.calculations.money import format_minor, minor_digits
from studio.models import Person, Role, Studio

# 5.00 for a kWh is some ten times any household's price: a price typed in cents, most likely.
PLAUSIBLE_PRICE_MINOR_MAX = 500
POSSIBLE_YEARS = range(1990, 2100)


def tariff_on(day: date) -> TariffVersion | None:
    """The version that holds on a day."""
    return TariffVersion.objects.filter(valid_from__lte=day).order_by("-valid_from").first()


def add_tariff_version(
    *,
    by: Person,
    at: datetime,
    name: str,
    valid_from: date,
    rates: Mapping[str, Any],
    confirm: bool = False,
) -> TariffVersion:
    """Add what the utility charges from a day on. `rates` is the tariff as JSON.

    A price above 5.00 for a kWh needs `confirm`. Firings that are priced already keep the
    version they were priced with: a version that would have held for them is refused.
    """
    require_role(by, Role.TREASURER, Role.MANAGER)
    with transaction.atomic(durable=True):
        hold_ledger()
        tariff = read_rates(rates)
        _check_prices(tariff, Studio.current(), confirm)
        _check_name(name)
        _check_day(valid_from)
        version = TariffVersion.objects.create(
            name=name.strip(), valid_from=valid_from, rates=to_json(tariff), made_by=by, made_at=at
        )
        record_deed(version, "added", by=by, at=at, valid_from=valid_from.isoformat())
    return version


def withdraw_tariff_version(*, by: Person, at: datetime, version: TariffVersion) -> None:
    """Take back a version that was mistyped, as long as no firing was priced with it."""
    require_role(by, Role.TREASURER, Role.MANAGER)
    with transaction.atomic(durable=True):
        hold_ledger()
        used = use_of(version)
        if used is not None:
            raise BillingRefusal(
                "tariff_used",
                f"{version} priced {used} and so stays. Add a version that holds from a later day.",
            )
        record_deed(version, "withdrawn", by=by, at=at, valid_from=str(version.valid_from))
        version.delete()


def use_of(version: TariffVersion) -> str | None:
    """What a version priced, in words: a firing, the end of one, or charges of a month."""
    cost = FiringCost.objects.filter(tariff=version).select_related("firing").first()
    if cost is not None:
        return str(cost.firing)
    # A firing that began under the version before, on one of the days just before this one.
    start_at = day_start(version.valid_from, Studio.current().zone)
    spanning = CostLine.objects.filter(
        kind=CostKind.ENERGY,
        cost__firing__started_at__gte=start_at - LONGEST,
        cost__firing__started_at__lt=start_at + timedelta(days=1),
    ).select_related("cost__firing")
    for line in spanning:
        if version.pk in line.working.get("tariff_ids", ()):
            return str(line.cost.firing)
    shared = MonthChargeLine.objects.filter(tariff=version).select_related("charges").first()
    return None if shared is None else f"charges of {shared.charges.month:%B %Y}"


def read_rates(rates: Mapping[str, Any]) -> Tariff:
    """The tariff in a document; refused with one sentence for each thing that is wrong."""
    try:
        return from_json(rates)
    except TariffError as error:
        sentences = " ".join(f"{problem[0].upper()}{problem[1:]}." for problem in error.problems)
        raise BillingRefusal(
            "tariff_unusable", sentences, field="rates", status=422, problems=list(error.problems)
        ) from error


def _check_prices(tariff: Tariff, studio: Studio, confirm: bool) -> None:
    dearest = dearest_kwh(tariff)
    limit = Decimal(PLAUSIBLE_PRICE_MINOR_MAX).scaleb(-minor_digits(studio.currency))
    if dearest > limit and not confirm:
        shown = format_minor(PLAUSIBLE_PRICE_MINOR_MAX, studio.currency, studio.language)
        raise BillingRefusal(
            "price_implausible",
            f"A price of {dearest} for a kWh is above {shown}. Prices are for one kWh in "
            f"{studio.currency}, not in its hundredths. Confirm it if it is really meant.",
            field="confirm",
            price_per_kwh=str(dearest),
        )


def _check_name(name: str) -> None:
    if not name.strip() or len(name.strip()) > 80:
        raise BillingRefusal(
            "tariff_name", "Name the tariff in 1 to 80 letters.", field="name", status=422
        )


def _check_day(valid_from: date) -> None:
    if valid_from.year not in POSSIBLE_YEARS:
        raise BillingRefusal(
            "tariff_day_impossible",
            f"{day_words(valid_from)} is no day of a tariff. Check the year.",
            field="valid_from",
            status=422,
        )
    if TariffVersion.objects.filter(valid_from=valid_from).exists():
        raise BillingRefusal(
            "tariff_day_taken",
            f"A version holds from {day_words(valid_from)} already. Choose another day, or "
            "withdraw that version if no firing was priced with it.",
            field="valid_from",
        )
    following = (
        TariffVersion.objects.filter(valid_from__gt=valid_from)
        .order_by("valid_from")
        .values_list("valid_from", flat=True)
        .first()
    )
    priced = _priced_between(valid_from, following)
    if priced is not None:
        raise BillingRefusal(
            "tariff_day_used",
            f"{priced.firing} was priced with {priced.tariff} and would have had the new one. "
            "Let the new version hold from a later day, or reverse that cost first.",
            field="valid_from",
        )
    shared = _shared_between(valid_from, following)
    if shared is not None:
        raise BillingRefusal(
            "tariff_month_shared",
            f"{shared} are shared already and would have been others. Let the new version hold "
            "from a later day, or take them back first.",
            field="valid_from",
        )


def _priced_between(first: date, end: date | None) -> FiringCost | None:
    """A firing that used electricity on these days; one that was still hot from before too."""
    zone = Studio.current().zone
    start_at = day_start(first, zone)
    priced = FiringCost.objects.filter(
        Q(firing__started_at__gte=start_at)
        | Q(firing__started_at__gte=start_at - LONGEST, firing__cooling_at__gt=start_at),
        reversed_at=None,
        tariff__isnull=False,
    ).select_related("firing", "tariff")
    if end is not None:
        priced = priced.filter(firing__started_at__lt=day_start(end, zone))
    return priced.order_by("firing__started_at").first()


def _shared_between(first: date, end: date | None) -> MonthCharges | None:
    shared = MonthCharges.objects.filter(reversed_at=None, month__gte=first.replace(day=1))
    if end is not None:
        shared = shared.filter(month__lt=end)
    return shared.order_by("month").first()
