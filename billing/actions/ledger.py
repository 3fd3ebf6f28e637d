"""The only door to the journal: post an entry, or reverse one.

`post_entry` and `post_reversal` are the inner parts of other actions and insist on being in
their transaction. Every posting holds the billing policy's row first: so a month cannot close
between the choice of an entry's day and its posting, and no account is asked twice at once.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db import connection, transaction

from billing.calculations.wall_clock import next_month
from billing.models import BillingPolicy, JournalEntry, LedgerAccount, MonthClose, Posting
from billing.refusals import BillingRefusal
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Person, Role, Studio

TEXT_LENGTH_MAX = 200

# By the document that an entry belongs to: what a plain reversal would leave standing.
HAS_ITS_OWN_REVERSAL = {
    "firing_cost": (
        "entry_is_a_firing_cost",
        "is the cost of a firing. Reverse that cost, so that the firing can be priced again.",
    ),
    "month_charges": (
        "entry_is_month_charges",
        "shares the charges of a month. Take those back, so that the month can be shared again.",
    ),
    "utility_bill": (
        "entry_is_a_utility_bill",
        "is an electricity bill. Take that bill back, so that the right one can be entered.",
    ),
    "paid_utility_bill": (
        "entry_paid_a_utility_bill",
        "paid an electricity bill. Take that bill back, which takes back its payment too.",
    ),
}


@dataclass(frozen=True)
class Leg:
    """What an entry does to one account: debit positive, credit negative, in minor units."""

    account: LedgerAccount
    amount_minor: int
    text: str = ""


def reverse_entry(*, by: Person, at: datetime, entry: JournalEntry, reason: str) -> JournalEntry:
    """Undo an entry by its mirror image, dated today; costs, charges and bills have their own."""
    require_role(by, Role.TREASURER)
    with transaction.atomic(durable=True):
        for name, (code, remedy) in HAS_ITS_OWN_REVERSAL.items():
            if hasattr(entry, name):
                raise BillingRefusal(code, f"{entry.text} {remedy}")
        reversal = post_reversal(entry, by=by, at=at, reason=reason)
        record_deed(entry, "reversed", by=by, at=at, why=reason.strip(), reversal=reversal.pk)
    return reversal


def hold_ledger() -> BillingPolicy:
    """Wait until nobody else posts or closes, and keep others waiting; gives the policy."""
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError(
            "the ledger is held and posted to inside the transaction of an action"
        )
    BillingPolicy.current()
    return BillingPolicy.objects.select_for_update().get(pk=1)


def post_entry(
    *,
    by: Person | None,
    at: datetime,
    on: date,
    text: str,
    source: str,
    legs: Iterable[Leg],
    reverses: JournalEntry | None = None,
    reason: str = "",
) -> JournalEntry:
    """Post a balanced entry once for its `source`; the second time the first is returned.

    Legs of nothing are left out. A day in a closed month becomes the first open day, and the
    texts say so. Raises ValueError for legs that do not balance.
    """
    hold_ledger()
    posted = JournalEntry.objects.filter(source=source).first()
    if posted is not None:
        return posted
    moving = [leg for leg in legs if leg.amount_minor]
    if len(moving) < 2 or sum(leg.amount_minor for leg in moving) != 0:
        raise ValueError(f"legs of {source!r} must be two or more that sum to zero, not {moving}")
    day = first_open_day(on)
    moved = "" if day == on else f" (of {day_words(on)}, in a closed month)"
    entry = JournalEntry.objects.create(
        on=day,
        text=_text(f"{text}{moved}"),
        source=source,
        reverses=reverses,
        reason=reason,
        by=by,
        written_at=at,
    )
    Posting.objects.bulk_create(
        [
            Posting(
                entry=entry,
                account=leg.account,
                amount_minor=leg.amount_minor,
                text=_text(f"{leg.text}{moved}" if leg.text else ""),
            )
            for leg in moving
        ]
    )
    entry.posted_at = at
    entry.save(update_fields=["posted_at"])
    return entry


def post_reversal(
    entry: JournalEntry, *, by: Person | None, at: datetime, reason: str
) -> JournalEntry:
    """The mirror image of an entry, dated `at`; refused without a reason or the second time."""
    hold_ledger()
    reason = require_reason(reason)
    if entry.reverses_id is not None:
        raise BillingRefusal(
            "reversal_is_final",
            f"{entry.text} is a reversal itself. Enter the original again instead.",
        )
    if JournalEntry.objects.filter(reverses=entry).exists():
        raise BillingRefusal("reversed_already", f"{entry.text} is reversed already.")
    postings = entry.postings.select_related("account")
    return post_entry(
        by=by,
        at=at,
        on=local_day(at),
        text=f"Reversal of {entry.text}",
        source=f"reversal:{entry.pk}",
        legs=[Leg(leg.account, -leg.amount_minor, f"Reversal: {leg.text}") for leg in postings],
        reverses=entry,
        reason=reason,
    )


def first_open_day(on: date) -> date:
    """`on` itself, or the first day after the closed months when it lies in one of them."""
    last_closed = MonthClose.objects.order_by("-month").values_list("month", flat=True).first()
    return on if last_closed is None else max(on, next_month(last_closed))


def local_day(at: datetime) -> date:
    """The studio's day at a moment."""
    return at.astimezone(Studio.current().zone).date()


def day_words(day: date) -> str:
    return f"{day.day} {day:%B %Y}"


def require_reason(reason: str) -> str:
    """The reason without blanks around it; refused when nothing is left."""
    if not reason.strip():
        raise BillingRefusal(
            "reason_missing",
            "Say why: whoever reads the books later will want to know.",
            field="reason",
            status=422,
        )
    return reason.strip()


def _text(text: str) -> str:
    return text if len(text) <= TEXT_LENGTH_MAX else f"{text[: TEXT_LENGTH_MAX - 1]}…"
