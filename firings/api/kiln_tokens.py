"""Signing in with the key of a logger or meter, which opens one kiln's readings and no more."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.models import AnonymousUser
from django.utils import timezone
from drf_spectacular.extensions import OpenApiAuthenticationExtension
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.permissions import BasePermission
from rest_framework.request import Request

from firings.models import KilnToken
from studio.actions.tokens import digest_of, note_use
from studio.api.authentication import BearerAuthentication


class KilnTokenAuthentication(BearerAuthentication):
    """The key of one kiln."""

    def authenticate(self, request: Request) -> tuple[AnonymousUser, KilnToken] | None:
        secret = self.secret_sent(request)
        if secret is None:
            return None
        token = _token_with(secret)
        if token is None:
            raise AuthenticationFailed(
                "This kiln key is unknown or revoked. A manager makes keys on the kiln's page."
            )
        note_use(token, timezone.now())
        return AnonymousUser(), token


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
    return working.filter(digest=digest_of(secret)).first()
