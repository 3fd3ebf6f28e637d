"""A worn part is replaced: its kiln's wear reserve pays, as far as it goes."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Sum

from billing.actions.chart import BANK, REPLACEMENTS, open_account, wear_reserve_of
from billing.actions.ledger import Leg, hold_ledger, local_day, post_entry
from billing.models import JournalEntry, LedgerAccount
from firings.models import KilnPart
from studio.models import Person


def post_replacement(
    part: KilnPart, cost_minor: int, *, by: Person | None, at: datetime
) -> JournalEntry | None:
    """Draw the reserve down by what a replacement cost; the studio carries what is missing.

    The inner part of replacing a part, posted once for the part. None when it cost nothing.
    """
    if cost_minor == 0:
        return None
    hold_ledger()
    reserve = wear_reserve_of(part.kiln)
    drawn_minor = min(cost_minor, max(0, reserved_minor(reserve)))
    return post_entry(
        by=by,
        at=at,
        on=local_day(at),
        text=f"Replaced: {part}",
        source=f"part:{part.pk}",
        legs=[
            Leg(reserve, drawn_minor, f"{part.name}, from the reserve"),
            Leg(
                open_account(REPLACEMENTS),
                cost_minor - drawn_minor,
                f"{part.name}, beyond the reserve",
            ),
            Leg(open_account(BANK), -cost_minor, f"Paid for {part}"),
        ],
    )


def reserved_minor(reserve: LedgerAccount) -> int:
    """What is in a wear reserve now: a liability, so credits count."""
    posted = reserve.postings.filter(entry__posted_at__isnull=False)
    return -(posted.aggregate(sum=Sum("amount_minor"))["sum"] or 0)
