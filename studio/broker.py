"""Where the broker listens when no REDIS_URL is given: a socket file only its owner may open."""

from __future__ import annotations

import hashlib
import os
import tempfile
from pathlib import Path
from urllib.parse import quote

from studio.environment import EnvironmentFault

# The kernel's limit for the path of a socket is 108 bytes on Linux and 104 on macOS.
SOCKET_PATH_BYTES_MAX = 100


def socket_path(home: Path) -> Path:
    """The socket in the studio's folder, or in a short private one when that path is too long."""
    path = home / "broker.sock"
    if len(os.fsencode(path)) <= SOCKET_PATH_BYTES_MAX:
        return path
    mark = hashlib.sha256(os.fsencode(home)).hexdigest()[:12]
    return Path(tempfile.gettempdir()) / f"wareboard-{os.getuid()}-{mark}" / "broker.sock"


def private_socket_path(home: Path) -> Path:
    """The socket's path, its folder made; refuses a folder that somebody else has put there."""
    path = socket_path(home)
    path.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    if path.parent.stat().st_uid != os.getuid():
        raise EnvironmentFault(
            f"{path.parent} belongs to another user. Set WAREBOARD_HOME to a folder of your own."
        )
    return path


def celery_url(redis_url: str, home: Path) -> str:
    """The broker's address in Celery's words."""
    return redis_url or f"redis+socket://{quote(str(socket_path(home)))}"


def cache_url(redis_url: str, home: Path) -> str:
    """The same server in the words of Django's cache."""
    return redis_url or f"unix://{quote(str(socket_path(home)))}"
