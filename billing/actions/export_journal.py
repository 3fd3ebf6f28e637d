"""The journal of a span of days for other programs, in pieces, whatever its length."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Max, Min, Q, Sum

from billing.actions.balances import journal
from billing.actions.ledger import day_words
from billing.calculations.journal_csv import journal_csv
from billing.calculations.journal_span import JournalSpan, SpanAccount, SpanEntry, SpanLeg
from billing.calculations.plain_text_journal import beancount_journal, hledger_journal
from billing.models import JournalEntry, Posting
from billing.refusals import BillingRefusal
from studio.actions.permits import require_role
from studio.models import Person, Role, Studio

ENTRIES_AT_ONCE = 500
POSSIBLE_YEARS = range(1900, 2100)


@dataclass(frozen=True)
class JournalFormat:
    """A way to write the journal down."""

    label: str
    ending: str
    content_type: str
    write: Callable[[JournalSpan, Iterable[SpanEntry]], Iterator[str]]


FORMATS = {
    "csv": JournalFormat("Spreadsheet (CSV)", "csv", "text/csv; charset=utf-8", journal_csv),
    "beancount": JournalFormat(
        "Plain text for beancount", "beancount", "text/plain; charset=utf-8", beancount_journal
    ),
    "hledger": JournalFormat(
        "Plain text for hledger", "journal", "text/plain; charset=utf-8", hledger_journal
    ),
}


@dataclass(frozen=True)
class JournalExport:
    """A file that is written while it is read; `pieces` can be read once."""

    file_name: str
    content_type: str
    pieces: Iterator[str]


def export_journal(
    *,
    by: Person | None,
    at: datetime,
    file_format: str,
    first: date | None = None,
    last: date | None = None,
) -> JournalExport:
    """The posted entries from `first` (else the very first) to `last` (else today).

    What is posted while the pieces are read is left out, so that entries and balances agree.
    """
    require_role(by, Role.TREASURER)
    if file_format not in FORMATS:
        raise _wrong("file_format", f"Choose one of {', '.join(FORMATS)}.")
    studio = Studio.current()
    posted = JournalEntry.objects.filter(posted_at__isnull=False)
    # Whoever posts holds the ledger first, so numbers are given in the order of the commits.
    ends = posted.aggregate(last_pk=Max("pk", default=0), first_on=Min("on"))
    last = last or at.astimezone(studio.zone).date()
    first = first or min(ends["first_on"] or last, last)
    _check_days(first, last)
    accounts = _accounts(first, last, ends["last_pk"])
    span = JournalSpan(studio.name, studio.currency, first, last, accounts)
    chosen = FORMATS[file_format]
    return JournalExport(
        file_name=f"journal-{first}-to-{last}.{chosen.ending}",
        content_type=chosen.content_type,
        pieces=chosen.write(span, _entries(first, last, ends["last_pk"])),
    )


def _check_days(first: date, last: date) -> None:
    for field, day in (("last", last), ("first", first)):
        if day.year not in POSSIBLE_YEARS:
            raise _wrong(field, "Choose a day of the years 1900 to 2099.")
    if last < first:
        raise _wrong("last", f"This day lies before the first one, {day_words(first)}.")


def _accounts(first: date, last: date, last_pk: int) -> tuple[SpanAccount, ...]:
    """Every account used until `last`, by code, with its balances before `first` and after it."""
    used = (
        Posting.objects.filter(
            entry__posted_at__isnull=False, entry__on__lte=last, entry__lte=last_pk
        )
        .order_by("account__code")
        .values_list("account__code", "account__name", "account__kind")
        .annotate(
            opening_minor=Sum("amount_minor", filter=Q(entry__on__lt=first), default=0),
            closing_minor=Sum("amount_minor"),
        )
    )
    return tuple(SpanAccount(*row) for row in used)


def _entries(first: date, last: date, last_pk: int) -> Iterator[SpanEntry]:
    """One after another: a question for the entries and one for the postings of each lot."""
    for entry in journal(first, last).filter(pk__lte=last_pk).iterator(ENTRIES_AT_ONCE):
        reversed_entry = entry.reverses
        yield SpanEntry(
            number=entry.pk,
            on=entry.on,
            text=entry.text,
            source=entry.source,
            legs=tuple(
                SpanLeg(leg.account.code, leg.amount_minor, leg.text)
                for leg in entry.postings.all()
            ),
            reverses_number=entry.reverses_id,
            reverses_source="" if reversed_entry is None else reversed_entry.source,
            reason=entry.reason,
            by="" if entry.by is None else entry.by.name,
        )


def _wrong(field: str, message: str) -> BillingRefusal:
    return BillingRefusal(f"{field}_wrong", message, field=field, status=422)
