"""An e-mail backend that keeps messages in the database, to be read inside the app."""

from __future__ import annotations

from collections.abc import Sequence

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
    message_id = str(message.message()["Message-ID"])
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
            },
        )
