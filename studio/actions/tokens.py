"""What every token needs, a person's or a kiln's: its digest, and a note of its last use."""

from __future__ import annotations

import hashlib
from datetime import datetime, timedelta

from studio.models import Token

# A reading every few seconds, or a read of the API, is no reason to write the token's row as often.
USE_NOTED_EVERY = timedelta(minutes=1)


def digest_of(secret: str) -> str:
    """What is kept of a secret that nobody is to read back: SHA-256, in hexadecimal.

    A secret of 256 random bits needs no salt and no slow hash.
    """
    return hashlib.sha256(secret.encode()).hexdigest()


def note_use(token: Token, at: datetime) -> None:
    """Write down that a token was used, at most once in USE_NOTED_EVERY."""
    if token.last_used_at is None or token.last_used_at <= at - USE_NOTED_EVERY:
        type(token)._default_manager.filter(pk=token.pk).update(last_used_at=at)
        token.last_used_at = at
