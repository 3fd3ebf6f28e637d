"""How signing in differs here from the library's default."""

import logging
from smtplib import SMTPException
from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from django.conf import settings
from django.core.mail import EmailMessage
from django.http import HttpRequest
from django.utils import timezone

from studio.actions.people import choose_password
from studio.models import Person, Studio

log = logging.getLogger(__name__)


class StudioAccountAdapter(DefaultAccountAdapter):
    error_messages = {
        **DefaultAccountAdapter.error_messages,
        "email_password_mismatch": "This address and this password do not belong together. Check"
        " both, or have a new password set.",
        "too_many_login_attempts": "Too many tries. Wait five minutes, then try again, or have a"
        " new password set.",
    }

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """People join by a manager's invitation only."""
        return False

    def set_password(self, user: Person, password: str) -> None:
        user.password = choose_password(by=user, at=timezone.now(), password=password).password

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        """Letters about signing in look like all others of the studio."""
        letter = {"studio": Studio.current(), "site": settings.PUBLIC_URL}
        try:
            super().send_mail(template_prefix, email, {**context, **letter})
        except (OSError, SMTPException):
            # A page of faults here would tell a stranger that the address is known: for an
            # unknown one nothing is sent. The operator reads it in the log.
            log.exception("a letter about signing in could not be sent")

    def render_mail(
        self,
        template_prefix: str,
        email: str | list[str],
        context: dict[str, Any],
        headers: dict[str, str] | None = None,
    ) -> EmailMessage:
        # RFC 3834, 5: tells other machines not to answer
        marked = {"Auto-Submitted": "auto-generated", **(headers or {})}
        return super().render_mail(template_prefix, email, context, marked)
