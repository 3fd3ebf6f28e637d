"""An uploaded log waits in the shared cache, in pieces, for half an hour and for whoever sent it.

Whichever web process answers next finds it, and none of them holds it whole.
"""

from __future__ import annotations

import secrets
import zlib
from collections.abc import Iterator

from django.core.cache import cache
from django.core.files.uploadedfile import UploadedFile

KEPT_FOR_S = 30 * 60
PIECE_BYTES = 1024 * 1024


def keep_log(owner: str, log: UploadedFile) -> str:
    """Keep a file; returns the key by which `owner` finds it."""
    key = secrets.token_urlsafe(12)
    count = 0
    for piece in log.chunks(PIECE_BYTES):
        cache.set(_name(owner, key, count), zlib.compress(piece, 1), KEPT_FOR_S)
        count += 1
    cache.set(_name(owner, key), count, KEPT_FOR_S)
    return key


def is_kept(owner: str, key: str) -> bool:
    """Whether the whole file is still there."""
    count = cache.get(_name(owner, key))
    return count is not None and all(
        cache.touch(_name(owner, key, number), KEPT_FOR_S) for number in range(count)
    )


def kept_pieces(owner: str, key: str) -> Iterator[bytes]:
    """The file, piece by piece."""
    for number in range(cache.get(_name(owner, key)) or 0):
        yield zlib.decompress(cache.get(_name(owner, key, number)))


def forget_log(owner: str, key: str) -> None:
    """It is taken in: keep it no longer."""
    count = cache.get(_name(owner, key)) or 0
    cache.delete_many([_name(owner, key), *(_name(owner, key, n) for n in range(count))])


def _name(owner: str, key: str, number: int | None = None) -> str:
    return f"log:{owner}:{key}" if number is None else f"log:{owner}:{key}:{number}"
