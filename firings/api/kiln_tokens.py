"""Signing in with the key of a logger or meter, which opens one kiln's readings and no more."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.authentication import BaseAuthentication, get_authorization_header
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from firings.actions.kilns import token_digest
from firings.models import KilnToken

SCHEME = "Bearer"
# A key's last use is written at most this often: a reading every few seconds is no reason to
# write the key's row as often.
USE_NOTED_EVERY = timedelta(minutes=1)


class KilnTokenAuthentication(BaseAuthentication):
    """`Authorization: Bearer <kiln key>`, RFC 6750, 2.1."""

    def authenticate(self, request: Request) -> tuple[AnonymousUser, KilnToken] | None:
        words = get_authorization_header(request).decode("latin-1").split()
        if not words or words[0].lower() != SCHEME.lower():
            return None
        token = _token_with(words[1]) if len(words) == 2 else None
        if token is None:
            raise AuthenticationFailed(
                "This kiln key is unknown or revoked. A manager makes keys on the kiln's page."
            )
        _note_use(token, timezone.now())
        return AnonymousUser(), token

    def authenticate_header(self, request: Request) -> str:
        return SCHEME


class KeyOfThisKiln(BasePermission):
    """The key must be the key of the kiln in the address."""

    message = "This key belongs to another kiln. Use the key of the kiln you post to."

    def has_permission(self, request: Request, view: Any) -> bool:
        is_key = isinstance(request.auth, KilnToken)
        return is_key and request.auth.kiln_id == view.kwargs["pk"]


class KilnTokenScheme(OpenApiAuthenticationExtension):
    target_class = KilnTokenAuthentication
    name = "kilnKey"

    def get_security_definition(self, auto_schema: Any) -> dict[str, str]:
        return {
            "type": "http",
            "scheme": "bearer",
            "description": "The key of one kiln's logger or meter, made on the kiln's page.",
        }


def _token_with(secret: str) -> KilnToken | None:
    working = KilnToken.objects.select_related("kiln").filter(revoked_at=None)
    return working.filter(digest=token_digest(secret)).first()


def _note_use(token: KilnToken, at: datetime) -> None:
    if token.last_used_at is None or token.last_used_at <= at - USE_NOTED_EVERY:
        KilnToken.objects.filter(pk=token.pk).update(last_used_at=at)
