"""The treasurer's list of what firings use up, and what one firing used of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import datetime
from fractions import Fraction
from typing import Any

from django.db import transaction

from billing.actions.ledger import hold_ledger
from billing.models import Consumable, ConsumedPer
from billing.refusals import BillingRefusal
from firings.models import Booking, Firing
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.calculations.money import format_minor, round_half_up
from studio.models import Person, Role, Studio

PRICE_MINOR_MAX = 1_000_000
NAME_LENGTH_MAX = 60
MM2_IN_1000_CM2 = 100_000
COUNTED = {
    ConsumedPer.FIRING: ("firing", "firings"),
    ConsumedPer.LAYER: ("layer", "layers"),
    ConsumedPer.BOOKING: ("slip", "slips"),
}


def add_consumable(
    *, by: Person, at: datetime, name: str, price_minor: int, per: str
) -> Consumable:
    """Add something that firings use up; it is charged from the next firing that is priced."""
    require_role(by, Role.TREASURER, Role.MANAGER)
    with transaction.atomic(durable=True):
        hold_ledger()
        wanted = Consumable(name=name.strip(), price_minor=price_minor, per=per)
        _check(wanted)
        wanted.save()
        record_deed(wanted, "added", by=by, at=at, price_minor=price_minor, per=per)
    return wanted


def edit_consumable(
    *,
    by: Person,
    at: datetime,
    consumable: Consumable,
    name: str,
    price_minor: int,
    per: str,
    is_used: bool,
) -> Consumable:
    """Change a name, a price or whether it is used at all; what was charged before stays."""
    require_role(by, Role.TREASURER, Role.MANAGER)
    with transaction.atomic(durable=True):
        hold_ledger()
        consumable = Consumable.objects.select_for_update().get(pk=consumable.pk)
        before_minor = consumable.price_minor
        consumable.name, consumable.price_minor = name.strip(), price_minor
        consumable.per, consumable.is_used = per, is_used
        _check(consumable)
        consumable.save()
        prices = {"from": before_minor, "to": price_minor}
        record_deed(consumable, "edited", by=by, at=at, price_minor=prices, is_used=is_used)
    return consumable


def consumed_by(
    firing: Firing, bookings: Sequence[Booking], studio: Studio
) -> Iterator[tuple[str, int, dict[str, Any]]]:
    """For each consumable in use: its name, amount and working. Nothing where none was used."""
    used = list(Consumable.objects.filter(is_used=True))
    if not used:
        return
    counts = {
        ConsumedPer.FIRING: 1,
        ConsumedPer.LAYER: firing.layers.count(),
        ConsumedPer.BOOKING: len(bookings),
        ConsumedPer.AREA: sum(booking.charged_area_mm2 for booking in bookings),
    }
    for consumable in used:
        count = counts[ConsumedPer(consumable.per)]
        amount_minor = _amount_minor(consumable, count)
        if amount_minor:
            yield consumable.name, amount_minor, _working(consumable, count, amount_minor, studio)


def _amount_minor(consumable: Consumable, count: int) -> int:
    if consumable.per == ConsumedPer.AREA:
        return round_half_up(Fraction(consumable.price_minor * count, MM2_IN_1000_CM2))
    return consumable.price_minor * count


def _working(
    consumable: Consumable, count: int, amount_minor: int, studio: Studio
) -> dict[str, Any]:
    price = format_minor(consumable.price_minor, studio.currency, studio.language)
    amount = format_minor(amount_minor, studio.currency, studio.language)
    if consumable.per == ConsumedPer.AREA:
        counted = f"{count / 100:.2f} cm² ÷ 1000 cm²"
    else:
        one, many = COUNTED[ConsumedPer(consumable.per)]
        counted = f"{count} {one if count == 1 else many}"
    return {
        "price_minor": consumable.price_minor,
        "per": consumable.per,
        "count": count,
        "amount_minor": amount_minor,
        "sentence": f"{consumable.name}: {price} × {counted} = {amount}.",
    }


def _check(wanted: Consumable) -> None:
    if not wanted.name or len(wanted.name) > NAME_LENGTH_MAX:
        raise _wrong("name", f"Name it in 1 to {NAME_LENGTH_MAX} letters.")
    if Consumable.objects.filter(name__iexact=wanted.name).exclude(pk=wanted.pk).exists():
        raise _wrong("name", f"{wanted.name} is on the list already: edit it there.")
    if not 1 <= wanted.price_minor <= PRICE_MINOR_MAX:
        raise _wrong("price_minor", f"Between 1 and {PRICE_MINOR_MAX} minor units.")
    if wanted.per not in ConsumedPer.values:
        raise _wrong("per", "Choose what it is counted by.")


def _wrong(field: str, message: str) -> BillingRefusal:
    return BillingRefusal(f"consumable_{field}_wrong", message, field=field, status=422)
