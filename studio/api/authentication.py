"""Signing in to the API with a person's access token."""

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


class TokenAuthentication(BaseAuthentication):
    """`Authorization: Bearer <token>`, RFC 6750, 2.1."""

    def authenticate(self, request: Request) -> tuple[Person, AccessToken] | None:
        words = get_authorization_header(request).decode("latin-1").split()
        if not words or words[0].lower() != SCHEME.lower():
            return None
        if len(words) != 2:
            raise AuthenticationFailed("Write the header as: Authorization: Bearer <token>")
        token = use_access_token(secret=words[1], at=timezone.now())
        if token is None:
            raise AuthenticationFailed(
                "This token is unknown or revoked. Make a new one under My details."
            )
        return token.person, token

    def authenticate_header(self, request: Request) -> str:
        return SCHEME


class TokenScheme(OpenApiAuthenticationExtension):
    target_class = TokenAuthentication
    name = "accessToken"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "A person's access token, made under My details.",
        }
