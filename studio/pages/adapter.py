"""How signing in differs here from the library's default."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


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
