"""A month is closed: every account gets its numbered statement, and the month is frozen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from django.db import transaction
from django.db.models import Exists, Max, Min, OuterRef, Q

from billing.actions.ledger import day_words, hold_ledger, local_day
from billing.actions.month_charge_lines import has_monthly_charges
from billing.actions.month_sums import MonthSums, keep_balances, month_sums
from billing.actions.preview_month_charges import standing_charges
from billing.actions.statement_contents import (
    Content,
    canonical_text,
    hash_of,
    statement_contents,
)
from billing.actions.statement_drafts import Draft, month_totals, statement_drafts
from billing.calculations.wall_clock import next_month
from billing.models import (
    FiringCost,
    JournalEntry,
    MonthClose,
    Statement,
)
from billing.notices import write_statement_notices
from billing.refusals import BillingRefusal
from firings.models import Firing, FiringState
from studio.actions.many_rows import insert_many
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.models import Account, Person, Role, Studio


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
        ledger = month_sums(month)
        drafts = statement_drafts(month, ledger)
        _check_ledger_agrees(drafts, ledger)
        keep_balances(month, ledger)
        contents = statement_contents(drafts, month, policy, at)
        _issue(contents, close, at)
        write_statement_notices(contents, at)
        record_deed(close, "closed", by=by, at=at, statements=len(contents))
    return close


def content_hash(content: Content) -> str:
    """SHA-256 of a statement's content, written with sorted keys and no blanks, as hex."""
    return hash_of(canonical_text(content))


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


def _check_ledger_agrees(drafts: Sequence[Draft], ledger: Sequence[MonthSums]) -> None:
    """Each closing balance, added up from lines, is the balance of the receivable's postings."""
    stated = {draft.account.pk: draft.totals.closing_minor for draft in drafts}
    owed = {sums.holder_id: sums.after_minor for sums in ledger if sums.holder_id is not None}
    for pk in {*stated, *owed}:
        if stated.get(pk, 0) != owed.get(pk, 0):
            raise BillingRefusal(
                "statements_differ",
                f"The statement of account {Account.objects.get(pk=pk)} would end with "
                f"{stated.get(pk, 0)} minor units, its ledger account with {owed.get(pk, 0)}. "
                "Nothing was closed: have whoever looks after the system compare the two.",
            )


def _issue(contents: Mapping[int, Content], close: MonthClose, at: datetime) -> None:
    """Write the statements, each with the text that its hash is of."""
    names = (
        "account_id", "number", "opening_minor", "charges_minor", "credits_minor",
        "payments_minor", "closing_minor", "due_on", "content", "content_hash",
    )  # fmt: skip
    insert_many(
        Statement, names, map(_row, contents.items()), {"close_id": close.pk, "issued_at": at}
    )


def _row(issued: tuple[int, Content]) -> tuple[int | str, ...]:
    account_id, content = issued
    text = canonical_text(content)
    totals = content["totals"].values()
    return account_id, content["number"], *totals, content["due_on"], text, hash_of(text)
