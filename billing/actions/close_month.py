"""A month is closed: every account gets its numbered statement, and the month is frozen."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Exists, Max, Min, OuterRef, Q

from billing.actions.ledger import day_words, hold_ledger, local_day, next_month
from billing.actions.month_charge_lines import has_monthly_charges
from billing.actions.preview_month_charges import standing_charges
from billing.actions.statement_drafts import (
    Draft,
    month_totals,
    owed_before,
    statement_drafts,
)
from billing.calculations.payment_references import reference_of
from billing.calculations.way_to_pay import WayToPay
from billing.models import (
    BillingPolicy,
    FiringCost,
    JournalEntry,
    MonthClose,
    Statement,
)
from billing.notices import write_statement_notices
from billing.refusals import BillingRefusal
from firings.models import Firing, FiringState
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Account, Person, Role, Studio

BATCH = 200


@dataclass(frozen=True)
class ClosePreview:
    """What closing a month would do, what hinders it, and what to look at first.

    `hindrance` is why it would be refused now, or nothing. The lists do not hinder: what is
    settled after the close is charged in the month that is open then.
    """

    month: date
    hindrance: BillingRefusal | None
    statements_count: int
    opening_minor: int
    charges_minor: int
    credits_minor: int
    payments_minor: int
    closing_minor: int
    firings_open: Sequence[Firing]
    firings_unpriced: Sequence[Firing]
    energy_unknown: Sequence[Firing]
    members_without_account: Sequence[Person]
    charges_not_shared: bool

    @property
    def can_close(self) -> bool:
        return self.hindrance is None


def preview_close(month: date, at: datetime) -> ClosePreview:
    """What `close_month` would do at a moment, without doing it."""
    month = month.replace(day=1)
    totals = month_totals(month)
    firings = _firings_started_in(month)
    is_over = Q(state__in=[FiringState.CLOSED, FiringState.ABORTED])
    standing_cost = FiringCost.objects.filter(firing=OuterRef("pk"), reversed_at=None)
    unpriced = firings.filter(is_over).exclude(Exists(standing_cost))
    return ClosePreview(
        month=month,
        hindrance=_hindrance(month, at),
        statements_count=len(totals),
        opening_minor=sum(total.opening_minor for total in totals),
        charges_minor=sum(total.charges_minor for total in totals),
        credits_minor=sum(total.credits_minor for total in totals),
        payments_minor=sum(total.payments_minor for total in totals),
        closing_minor=sum(total.closing_minor for total in totals),
        firings_open=list(firings.exclude(is_over)),
        firings_unpriced=list(unpriced.filter(energy_wh__gt=0)),
        energy_unknown=list(unpriced.filter(energy_wh=None)),
        members_without_account=list(
            Person.objects.active().holding(Role.MEMBER).filter(account=None)
        ),
        charges_not_shared=has_monthly_charges(month) and standing_charges(month) is None,
    )


def month_to_close(at: datetime) -> date | None:
    """The month that is next in order, when it is over; None when there is nothing to close."""
    month = _first_open_month()
    return month if month is not None and next_month(month) <= local_day(at) else None


def close_month(*, by: Person, at: datetime, month: date) -> MonthClose:
    """Freeze a finished month and issue its statements, numbered without a hole.

    In order and only once; the second time is refused and changes nothing. So is a close whose
    statements would not say what the ledger says. Each active person of an account is told. The
    number of queries does not grow with the accounts.
    """
    require_role(by, Role.TREASURER)
    month = month.replace(day=1)
    with transaction.atomic(durable=True):
        policy = hold_ledger()
        hindrance = _hindrance(month, at)
        if hindrance is not None:
            raise hindrance
        close = MonthClose.objects.create(month=month, closed_at=at, closed_by=by)
        drafts = statement_drafts(month)
        _check_ledger_agrees(drafts, month)
        statements = _statements(drafts, close, policy, at)
        Statement.objects.bulk_create(statements, batch_size=BATCH)
        write_statement_notices(statements, at)
        record_deed(close, "closed", by=by, at=at, statements=len(statements))
    return close


def content_hash(content: Mapping[str, Any]) -> str:
    """SHA-256 of a statement's content, written with sorted keys and no blanks, as hex."""
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()


def is_untouched(statement: Statement) -> bool:
    """Whether a statement's content is still what was issued."""
    return content_hash(statement.content) == statement.content_hash


def _hindrance(month: date, at: datetime) -> BillingRefusal | None:
    name = f"{month:%B %Y}"
    if MonthClose.objects.filter(month=month).exists():
        return BillingRefusal("month_closed", f"{name} is closed already.", field="month")
    if next_month(month) > local_day(at):
        return BillingRefusal(
            "month_not_over",
            f"{name} is not over yet. Close it from {day_words(next_month(month))} on.",
            field="month",
        )
    expected = _first_open_month()
    if expected is None:
        return BillingRefusal(
            "nothing_to_close", "Nothing is in the books yet: there is no month to close."
        )
    if month > expected:
        return BillingRefusal(
            "month_out_of_order", f"Close {expected:%B %Y} first: it is still open.", field="month"
        )
    if month < expected:
        # Each month after it would have to be closed too, however long ago it lies.
        return BillingRefusal(
            "month_out_of_order",
            f"{name} lies before all that is open in the books. Next is {expected:%B %Y}.",
            field="month",
        )
    return None


def _first_open_month() -> date | None:
    """The month after the last closed one, or that of the first entry; None without either."""
    last_closed = MonthClose.objects.aggregate(month=Max("month"))["month"]
    if last_closed is not None:
        return next_month(last_closed)
    first_on = JournalEntry.objects.exclude(posted_at=None).aggregate(on=Min("on"))["on"]
    return None if first_on is None else first_on.replace(day=1)


def _firings_started_in(month: date) -> Any:
    zone = Studio.current().zone
    start, end = (
        datetime(day.year, day.month, 1, tzinfo=zone) for day in (month, next_month(month))
    )
    return (
        Firing.objects.filter(started_at__gte=start, started_at__lt=end)
        .select_related("kiln")
        .order_by("started_at")
    )


def _check_ledger_agrees(drafts: Sequence[Draft], month: date) -> None:
    """Each closing balance, added up from lines, is the balance of the receivable's postings."""
    stated = {draft.account.pk: draft.totals.closing_minor for draft in drafts}
    ledger = owed_before(next_month(month))
    for pk in {*stated, *ledger}:
        if stated.get(pk, 0) != ledger.get(pk, 0):
            raise BillingRefusal(
                "statements_differ",
                f"The statement of account {Account.objects.get(pk=pk)} would end with "
                f"{stated.get(pk, 0)} minor units, its ledger account with {ledger.get(pk, 0)}. "
                "Nothing was closed: have whoever looks after the system compare the two.",
            )


def _statements(
    drafts: Sequence[Draft], close: MonthClose, policy: BillingPolicy, at: datetime
) -> list[Statement]:
    last_number = Statement.objects.aggregate(number=Max("number"))["number"] or 0
    studio = Studio.current()
    return [
        _statement(draft, number, close, policy, studio, at)
        for number, draft in enumerate(drafts, start=last_number + 1)
    ]


def _statement(
    draft: Draft,
    number: int,
    close: MonthClose,
    policy: BillingPolicy,
    studio: Studio,
    at: datetime,
) -> Statement:
    issued_on = at.astimezone(studio.zone).date()
    due_on = issued_on + timedelta(days=policy.payment_days)
    totals = draft.totals
    content = {
        "number": number,
        "studio": {
            "name": studio.name,
            "address": studio.address,
            "contact_email": studio.contact_email,
        },
        "account": {"number": draft.account.number, "name": draft.account.name},
        "first_day": close.month.isoformat(),
        "last_day": (next_month(close.month) - timedelta(days=1)).isoformat(),
        "issued_on": issued_on.isoformat(),
        "issued_at": at.isoformat(),
        "due_on": due_on.isoformat(),
        "currency": studio.currency,
        "language": studio.language,
        "length_unit": studio.length_unit,
        "lines": draft.lines,
        "totals": vars(totals),
        "how_to_pay": policy.how_to_pay,
        "way_to_pay": asdict(
            WayToPay(
                payee_name=policy.payee_name,
                iban=policy.iban,
                bic=policy.bic,
                reference=reference_of(draft.account.number),
                amount_minor=max(totals.closing_minor, 0),
                currency=studio.currency,
            )
        ),
    }
    return Statement(
        number=number,
        account=draft.account,
        close=close,
        issued_at=at,
        due_on=due_on,
        content=content,
        content_hash=content_hash(content),
        **vars(totals),
    )
