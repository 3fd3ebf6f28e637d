"""How signing in differs here from the library's default."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class StudioAccountAdapter(DefaultAccountAdapter):
    def is_open_for_signup(self, request: HttpRequest) -> bool:
        """People join by a manager's invitation only."""
        return False
