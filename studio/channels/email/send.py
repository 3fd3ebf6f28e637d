"""Hand one notice to Django's mail framework, and say which failures can heal."""

from __future__ import annotations

import smtplib
from datetime import datetime
from email.utils import format_datetime

from django.core.mail import BadHeaderError, EmailMultiAlternatives

from studio.channels.email.letter import write_letter
from studio.models import Notice


class CannotBeDelivered(Exception):
    """The mail server has refused for good: trying again would not help."""


def send_email(notice: Notice, address: str, at: datetime) -> None:
    """Send `notice` to `address`, dated `at`.

    Raises CannotBeDelivered, or what the mail framework raises.
    """
    letter = write_letter(notice)
    message = EmailMultiAlternatives(
        subject=letter.subject,
        body=letter.text,
        to=[address],
        headers={
            "Date": format_datetime(at),
            "Message-ID": notice.message_id,
            # RFC 3834, 5: tells other machines not to answer
            "Auto-Submitted": "auto-generated",
        },
    )
    message.attach_alternative(letter.html, "text/html")
    try:
        message.send()
    except (smtplib.SMTPException, BadHeaderError) as fault:
        if is_final(fault):
            raise CannotBeDelivered(str(fault)) from fault
        raise


def is_final(fault: Exception) -> bool:
    """Whether the server's answer is permanent: 5yz of RFC 5321, 4.2.1.

    A refused password (535) is the operator's mistake and heals when they mend it; a refused
    recipient with 4yz is a server that asks us to come again.
    """
    if isinstance(fault, smtplib.SMTPAuthenticationError):
        return False
    if isinstance(fault, smtplib.SMTPRecipientsRefused):
        return all(500 <= code <= 599 for code, _answer in fault.recipients.values())
    if isinstance(fault, smtplib.SMTPResponseException):
        return 500 <= fault.smtp_code <= 599
    return isinstance(fault, BadHeaderError)
