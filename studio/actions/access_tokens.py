"""A person's keys to the JSON API."""

from __future__ import annotations

import secrets
from datetime import datetime

from django.db import transaction

from studio.actions.accounts import checked_name
from studio.actions.tokens import digest_of, note_use
from studio.actions.trail import record_deed
from studio.models import AccessToken, Person
from studio.refusals import Denied, Refusal

TOKENS_MAX = 20


def create_access_token(*, by: Person, at: datetime, name: str) -> tuple[AccessToken, str]:
    """Make a token for oneself; returns it and its secret, which is shown this once."""
    name = checked_name(name)[:80]
    secret = f"wb_{secrets.token_urlsafe(32)}"
    with transaction.atomic(durable=True):
        person = Person.objects.select_for_update(no_key=True).get(pk=by.pk)
        if not person.is_active:
            raise Denied("person_inactive", "This sign-in is deactivated.")
        if person.access_tokens.filter(revoked_at=None).count() >= TOKENS_MAX:
            raise Refusal(
                "too_many_tokens",
                f"You have {TOKENS_MAX} tokens. Revoke one that is no longer used first.",
            )
        token = AccessToken.objects.create(
            person=person, name=name, digest=digest_of(secret), created_at=at
        )
        record_deed(token, "created", by=by, at=at, name=name)
    return token, secret


def revoke_access_token(*, by: Person, at: datetime, token: AccessToken) -> AccessToken:
    """End a token of one's own; programs that use it are refused from now on."""
    with transaction.atomic(durable=True):
        token = AccessToken.objects.select_for_update().get(pk=token.pk)
        if token.person_id != by.pk:
            raise Denied("not_your_token", "This token belongs to somebody else.")
        if token.revoked_at:
            raise Refusal("token_revoked", f"The token {token.name} is revoked already.")
        token.revoked_at = at
        token.save(update_fields=["revoked_at"])
        record_deed(token, "revoked", by=by, at=at)
    return token


def use_access_token(*, secret: str, at: datetime) -> AccessToken | None:
    """The working token with this secret, its use noted; None when there is none.

    The one action that answers None: it asks who is there, and changes nothing a person did.
    """
    token = (
        AccessToken.objects.select_related("person")
        .filter(digest=digest_of(secret), revoked_at=None, person__is_active=True)
        .first()
    )
    if token:
        note_use(token, at)
    return token
