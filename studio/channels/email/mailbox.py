"""An e-mail backend that keeps messages in the database, to be read inside the app."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

from django.core.mail import EmailMessage
from django.core.mail.backends.base import BaseEmailBackend

from studio.models import MailboxMessage


class MailboxBackend(BaseEmailBackend):
    """Stores each message once for each recipient; the same Message-ID again changes nothing."""

    def send_messages(self, email_messages: Sequence[EmailMessage]) -> int:
        for message in email_messages:
            _keep(message)
        return len(email_messages)


def _keep(message: EmailMessage) -> None:
    headers = message.message()
    message_id = str(headers["Message-ID"])
    html = next(
        (
            str(content)
            for content, mimetype in getattr(message, "alternatives", [])
            if mimetype == "text/html"
        ),
        "",
    )
    for recipient in message.recipients():
        MailboxMessage.objects.get_or_create(
            message_id=message_id,
            recipient=recipient.lower(),
            defaults={
                "sender": message.from_email,
                "subject": str(message.subject)[:500],
                "text": str(message.body),
                "html": html,
                "received_at": _dated(str(headers["Date"])),
            },
        )


def _dated(header: str) -> datetime:
    """The moment of a Date header; its zone is UTC when it names none (-0000 of RFC 5322, 3.3)."""
    moment = parsedate_to_datetime(header)
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)
