"""Deliver notices from the outbox: claim, ask again, send, mark.

What a killed worker does to each step:

| killed                        | then                                                         |
| ----------------------------- | ------------------------------------------------------------ |
| before the claim              | nothing happened; the sweeper finds the row                  |
| after the claim, before send  | the claim lapses after CLAIM; the sweeper sends it, once     |
| after send, before the mark   | the claim lapses and it is sent again, with the same         |
|                               | Message-ID, so that mail programs can tell it is the same    |
| after the mark                | it is sent                                                   |

So a notice is never lost and may, in that one window, arrive twice. A row that kills each worker
who takes it is given up after ATTEMPTS_MAX, where the manager sees it.
"""

from __future__ import annotations

import logging
import time
from datetime import datetime, timedelta

from django.db import transaction
from django.db.models import F

from studio.actions.outbox import nudge_after_commit
from studio.actions.permits import require_role
from studio.actions.trail import record_deed
from studio.channels.email.send import CannotBeDelivered, send_email
from studio.models import Notice, NoticeState, Person, Role
from studio.notice_kinds import kind_named
from studio.refusals import Refusal

log = logging.getLogger(__name__)

# longer than a task may run, so that a lapsed claim means a dead worker
CLAIM = timedelta(minutes=5)
RETRY_AFTER = (
    timedelta(minutes=1),
    timedelta(minutes=5),
    timedelta(minutes=30),
    timedelta(hours=2),
    timedelta(hours=8),
)
ATTEMPTS_MAX = len(RETRY_AFTER) + 1


def deliver_notice(*, pk: int, at: datetime) -> Notice | None:
    """Try to deliver one notice; None when it is not due or another worker has it.

    Not one transaction: the claim must be seen by other workers before the mail leaves, and no
    lock is held while a mail server takes its time.
    """
    notice = claim_notice(pk=pk, at=at)
    if notice is None:
        return None
    if notice.attempts > ATTEMPTS_MAX:
        error = notice.last_error or "Each worker that took it ended before it was sent."
        return _mark(notice, state=NoticeState.FAILED, last_error=error)
    try:
        reason = reason_to_drop(notice, at)
        if reason:
            return _mark(notice, state=NoticeState.DROPPED, last_error=reason)
        address = notice.person.email if notice.person else notice.address
        send_email(notice, address, at)
    except CannotBeDelivered as fault:
        return _mark(notice, state=NoticeState.FAILED, last_error=str(fault).replace("\0", ""))
    except Exception as fault:
        log.warning("notice %s was not delivered", notice.pk, exc_info=True)
        return _try_later(notice, at, fault)
    return _mark(notice, state=NoticeState.SENT, sent_at=at, address=address, last_error="")


def claim_notice(*, pk: int, at: datetime) -> Notice | None:
    """Take the notice for one worker until `at` + CLAIM; None when that did not succeed.

    One conditional update: of two workers, the database lets one change the row.
    """
    claimed = Notice.objects.due(at).filter(pk=pk)
    if not claimed.update(claimed_until=at + CLAIM, attempts=F("attempts") + 1):
        return None
    return Notice.objects.select_related("person").get(pk=pk)


def reason_to_drop(notice: Notice, at: datetime) -> str:
    """Why the notice should not be sent any more; empty when it should."""
    kind = kind_named(notice.kind)
    if notice.person and not notice.person.is_active:
        return "The person is no longer active."
    if kind.expires_after is not None and at > notice.due_at + kind.expires_after:
        return "It came too late to be of use."
    if not kind.still_true(notice):
        return "It was no longer true."
    return ""


def _try_later(notice: Notice, at: datetime, fault: Exception) -> Notice:
    # PostgreSQL takes no NUL, whatever a mail server answers
    error = f"{type(fault).__name__}: {fault}".replace("\0", "")
    if notice.attempts >= ATTEMPTS_MAX:
        return _mark(notice, state=NoticeState.FAILED, last_error=error)
    # `due_at` stays: `expires_after` counts from it
    again_at = at + RETRY_AFTER[notice.attempts - 1]
    return _mark(notice, state=NoticeState.WAITING, claimed_until=again_at, last_error=error)


def _mark(notice: Notice, **changes: object) -> Notice:
    """Write the outcome, unless the claim has lapsed and another worker has the row by now."""
    mine = Notice.objects.filter(
        pk=notice.pk, state=NoticeState.WAITING, claimed_until=notice.claimed_until
    )
    mine.update(**{"claimed_until": None, **changes})
    notice.refresh_from_db()
    return notice


def deliver_due(*, at: datetime, seconds: float = 40.0) -> int:
    """Deliver what is due, oldest first, for at most `seconds`; the number of rows tried."""
    stop_at = time.monotonic() + seconds
    tried = 0
    for pk in Notice.objects.due(at).order_by("due_at", "pk").values_list("pk", flat=True)[:500]:
        if time.monotonic() > stop_at:
            break
        tried += deliver_notice(pk=pk, at=at) is not None
    return tried


def retry_notice(*, notice: Notice, by: Person, at: datetime) -> Notice:
    """Try a failed notice again, from its first attempt on."""
    require_role(by, Role.MANAGER)
    with transaction.atomic(durable=True):
        failed = Notice.objects.filter(pk=notice.pk, state=NoticeState.FAILED)
        if not failed.update(state=NoticeState.WAITING, attempts=0, due_at=at, claimed_until=None):
            raise Refusal(
                "notice_not_failed",
                "This notice has not failed, so there is nothing to try again."
                " Reload the page to see where it stands.",
            )
        notice.refresh_from_db()
        record_deed(
            notice,
            "retried",
            by=by,
            at=at,
            from_state=NoticeState.FAILED,
            to_state=NoticeState.WAITING,
        )
        nudge_after_commit(notice)
    return notice
