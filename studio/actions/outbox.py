"""Write what people are to be told, in the same transaction as the deed that caused it.

The row is the truth. The task that is sent after the commit is only a nudge: when the broker is
down or loses it, the sweeper (`studio.tasks.deliver_due_notices`, from beat) delivers the row.
"""

from __future__ import annotations

import hashlib
import hmac
import logging
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import datetime
from functools import lru_cache, partial
from typing import Any
from urllib.parse import urlsplit

from django.conf import settings
from django.db import connection, transaction
from django.utils import timezone
from kombu.exceptions import OperationalError

from studio.models import Notice, Person
from studio.notice_kinds import kind_named

log = logging.getLogger(__name__)

_nudging: ContextVar[bool] = ContextVar("nudging", default=True)


@contextmanager
def without_nudges() -> Iterator[None]:
    """Leave delivery to the sweeper: for a builder that writes months of notices at once."""
    token = _nudging.set(False)
    try:
        yield
    finally:
        _nudging.reset(token)


def write_notice(
    *,
    key: str,
    kind: str,
    at: datetime,
    person: Person | None = None,
    address: str = "",
    facts: Mapping[str, Any],
    due_at: datetime | None = None,
) -> Notice | None:
    """Put one notice in the outbox; to be called inside an action's transaction.

    `key` says what the notice is about, such as `ready:booking:412`: the second notice with a key
    is not written, the first is returned. `facts` are plain JSON values and hold no secrets. A
    person who is no longer active is told nothing: the answer is None.
    """
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError(
            "write_notice belongs inside the transaction of the deed it tells of"
        )
    kind_named(kind)
    if person is not None and not person.is_active:
        return None
    address = address or (person.email if person else "")
    if not address:
        raise ValueError(f"notice {key!r} has neither a person nor an address")
    notice, is_new = Notice.objects.get_or_create(
        key=key,
        defaults={
            "kind": kind,
            "person": person,
            "address": address,
            "facts": dict(facts),
            "written_at": at,
            "due_at": due_at or at,
            "message_id": message_id_for(key),
        },
    )
    if is_new:
        nudge_after_commit(notice)
    return notice


def message_id_for(key: str) -> str:
    """The Message-ID of the notice: the same for each attempt, and told by nobody else.

    RFC 5322, 3.6.4: it names exactly one version of one message; its right side is our domain.
    """
    secret, domain = _message_sender(settings.SECRET_KEY, settings.PUBLIC_URL)
    return f"<{hmac.digest(secret, key.encode(), 'sha256').hex()[:40]}@{domain}>"


@lru_cache(maxsize=1)
def _message_sender(secret_key: str, public_url: str) -> tuple[bytes, str]:
    """Secret (as `django.utils.crypto.salted_hmac` derives it) and domain, not anew for each of
    ten thousand notices."""
    secret = hashlib.sha256(b"studio.actions.outbox" + secret_key.encode()).digest()
    return secret, urlsplit(public_url).hostname or "localhost"


def nudge_after_commit(notice: Notice) -> None:
    """Ask a worker to deliver `notice` now, once the row is there for it to read."""
    # the one look at the clock below the faces: no worker is woken for a notice of next month
    if _nudging.get() and notice.due_at <= timezone.now():
        transaction.on_commit(partial(_nudge, notice.pk))


def nudge_sweep_after_commit() -> None:
    """Ask a worker to sweep once: for a deed that wrote very many notices in one go."""
    if _nudging.get():
        transaction.on_commit(_nudge_sweep)


def _nudge(pk: int) -> None:
    from studio.tasks import deliver_notice  # circular: the task calls the action of delivery

    _send(deliver_notice, (pk,), f"notice {pk}")


def _nudge_sweep() -> None:
    from studio.tasks import deliver_due_notices  # circular, as above

    _send(deliver_due_notices, (), "the outbox")


def _send(task: Any, words: tuple[Any, ...], what: str) -> None:
    try:
        task.apply_async(words, retry=False)
    except (OperationalError, OSError) as fault:
        log.warning("%s waits for the sweeper: the broker did not answer (%s)", what, fault)
