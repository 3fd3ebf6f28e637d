"""The fixed and demand charges of a month are shared over its firings, once, before the close."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from django.db import transaction

from billing.actions.chart import (
    ELECTRICITY_RECOVERED,
    FIRINGS_WITHOUT_WARE,
    ChartLine,
    open_account,
    receivables_of,
)
from billing.actions.chart import FAULTS as FAULTS_ACCOUNT
from billing.actions.ledger import Leg, hold_ledger, post_entry, post_reversal, require_reason
from billing.actions.preview_month_charges import SharingPreview, preview_month_charges
from billing.calculations.month_sharing import FAULTS, WITHOUT_WARE
from billing.calculations.wall_clock import next_month
from billing.models import MonthChargeLine, MonthCharges, MonthChargeShare
from billing.refusals import BillingRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role

ACCOUNTS: dict[int, ChartLine] = {
    FAULTS: FAULTS_ACCOUNT,
    WITHOUT_WARE: FIRINGS_WITHOUT_WARE,
}


def share_month_charges(*, by: Person, at: datetime, month: date) -> MonthCharges:
    """Post the charges of a finished month to the accounts whose ware was fired in it.

    Once for each month; the second time is refused and changes nothing. Dated the month's last
    day, or the first open day when the month is closed already.
    """
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        preview = preview_month_charges(month, at)
        if preview.hindrance is not None:
            raise preview.hindrance
        charges = _write(preview, by, at)
        number = MonthCharges.objects.filter(month=preview.month).count()
        charges.entry = post_entry(
            by=by,
            at=at,
            on=next_month(preview.month) - timedelta(days=1),
            text=str(charges),
            source=f"charges:{preview.month:%Y-%m}:{number}",
            legs=_legs(preview, charges),
        )
        charges.save(update_fields=["entry"])
        record_deed(charges, "posted", by=by, at=at, total_minor=charges.total_minor)
    return charges


def reverse_month_charges(
    *, by: Person, at: datetime, charges: MonthCharges, reason: str
) -> MonthCharges:
    """Take back what was shared, with a reason; the month can then be shared again."""
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        hold_ledger()
        reason = require_reason(reason)
        charges = MonthCharges.objects.select_related("entry").get(pk=charges.pk)
        if charges.reversed_at is not None or charges.entry is None:
            raise BillingRefusal("reversed_already", f"{charges} are taken back already.")
        post_reversal(charges.entry, by=by, at=at, reason=reason)
        charges.reversed_at = at
        charges.save(update_fields=["reversed_at"])
        record_deed(charges, "reversed", by=by, at=at, why=reason)
    return charges


def _write(preview: SharingPreview, by: Person, at: datetime) -> MonthCharges:
    charges = MonthCharges.objects.create(
        month=preview.month,
        total_minor=preview.total_minor,
        studio_minor=preview.studio_minor,
        studio_parts=[
            {"reason": part.reason, "amount_minor": part.amount_minor}
            for part in preview.studio_parts
        ],
        made_by=by,
        made_at=at,
    )
    MonthChargeLine.objects.bulk_create(
        [
            MonthChargeLine(
                charges=charges,
                kind=line.kind,
                text=line.text,
                tariff=line.tariff,
                amount_minor=line.amount_minor,
                working=dict(line.working),
            )
            for line in preview.lines
        ]
    )
    MonthChargeShare.objects.bulk_create(
        [
            MonthChargeShare(
                charges=charges,
                account=share.account,
                amount_minor=share.amount_minor,
                working=dict(share.working),
            )
            for share in preview.shares
        ]
    )
    return charges


def _legs(preview: SharingPreview, charges: MonthCharges) -> list[Leg]:
    """Debits: the accounts whose ware was fired, and the studio. Credit: recovered."""
    receivables = receivables_of({share.account for share in preview.shares})
    legs = [
        Leg(receivables[share.account.pk], share.amount_minor, str(charges))
        for share in preview.shares
    ]
    for part in preview.studio_parts:
        account = open_account(ACCOUNTS[part.party])
        legs.append(Leg(account, part.amount_minor, f"{charges}: {part.reason}"))
    recovered = open_account(ELECTRICITY_RECOVERED)
    return [*legs, Leg(recovered, -preview.total_minor, str(charges))]
