"""Signing in to the API with a token in the header, and with a person's access token."""

from __future__ import annotations

from typing import Any

from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from studio.actions.access_tokens import use_access_token
from studio.models import AccessToken, Person

SCHEME = "Bearer"


class BearerAuthentication(BaseAuthentication):
    """`Authorization: Bearer <token>`, RFC 6750, 2.1."""

    def secret_sent(self, request: Request) -> str | None:
        """What stands after `Bearer`; None when another way of signing in is used, or none."""
        words = get_authorization_header(request).decode("latin-1").split()
        if not words or words[0].lower() != SCHEME.lower():
            return None
        if len(words) != 2:
            raise AuthenticationFailed("Write the header as: Authorization: Bearer <token>")
        return words[1]

    def authenticate_header(self, request: Request) -> str:
        return SCHEME


class TokenAuthentication(BearerAuthentication):
    """A person's access token."""

    def authenticate(self, request: Request) -> tuple[Person, AccessToken] | None:
        secret = self.secret_sent(request)
        if secret is None:
            return None
        token = use_access_token(secret=secret, at=timezone.now())
        if token is None:
            raise AuthenticationFailed(
                "This token is unknown or revoked. Make a new one under My details."
            )
        return token.person, token


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = TokenAuthentication
    name = "accessToken"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A person's access token, made under My details.",
        }
