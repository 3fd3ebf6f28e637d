"""The whole process tree of `python3 -m studio serve`, with an empty studio, on real ports.

Every part is killed with -9 in turn and comes back; SIGTERM ends all of it.
"""

import http.client
import json
import os
import secrets
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
import redis

from studio.broker import cache_url
from studio.environment import ROOT
from tests.waiting import until

SERVE = """
import sys
from studio import parts
from studio.bootstrap import read_arguments, settle_environment
from studio.process_tree import ProcessTree
arguments = read_arguments(["serve", "--port", sys.argv[1]])
sys.exit(ProcessTree(parts.whole(arguments, settle_environment(arguments))).run())
"""


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


class Studio:
    def __init__(self, home: Path) -> None:
        self.home = home
        self.port = free_port()
        given = {
            "WAREBOARD_MODE": "production",
            "WAREBOARD_HOME": str(home),
            "SECRET_KEY": secrets.token_urlsafe(60),
            "ALLOWED_HOSTS": "localhost",
            "PUBLIC_URL": f"http://localhost:{self.port}",
            "DJANGO_SETTINGS_MODULE": "studio.settings",
        }
        # This studio brings its own database and broker, whatever the tests run on.
        left_out = ("DATABASE_URL", "REDIS_URL", "DJANGO_ALLOW_ASYNC_UNSAFE")
        inherited = {key: value for key, value in os.environ.items() if key not in left_out}
        self.process = subprocess.Popen(
            [sys.executable, "-c", SERVE, str(self.port)], cwd=ROOT, env={**inherited, **given}
        )

    def get(self, path: str) -> tuple[int, bytes]:
        """Status and body; status 0 while nobody listens."""
        line = http.client.HTTPConnection("localhost", self.port, timeout=5)
        try:
            line.request("GET", path)
            response = line.getresponse()
            return response.status, response.read()
        except (OSError, http.client.HTTPException):
            return 0, b""
        finally:
            line.close()

    def is_ready(self) -> bool:
        return self.get("/readyz")[0] == 200

    def child(self, word: str) -> int | None:
        """The direct child whose command holds this word."""
        path = Path(f"/proc/{self.process.pid}/task/{self.process.pid}/children")
        for number in path.read_text().split():
            command = Path(f"/proc/{number}/cmdline")
            if command.exists() and word.encode() in command.read_bytes().split(b"\0"):
                return int(number)
        return None


@pytest.fixture(scope="module")
def studio(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Studio]:
    running = Studio(tmp_path_factory.mktemp("studio"))
    try:
        until(running.is_ready, within_s=60)
        yield running
    finally:
        running.process.terminate()
        running.process.wait(timeout=60)


@pytest.mark.parametrize("word", ["granian", "worker", "beat"])
def test_a_killed_part_comes_back(studio: Studio, word: str):
    first = until(lambda: studio.child(word))
    os.kill(first, signal.SIGKILL)
    until(lambda: studio.child(word) not in (None, first))
    until(studio.is_ready)


def test_a_killed_broker_comes_back_with_its_messages(studio: Studio):
    line = redis.Redis.from_url(cache_url("", studio.home))
    first = line.info("server")["process_id"]
    line.rpush("kept", "a message")
    # everysec: what is older than a second is on the disk.
    until(lambda: line.info("persistence")["aof_pending_bio_fsync"] == 0)
    os.kill(first, signal.SIGKILL)
    until(studio.is_ready)
    assert line.info("server")["process_id"] != first
    assert line.lrange("kept", 0, -1) == [b"a message"]
    line.close()


def test_a_big_upload_is_refused_before_it_is_read(studio: Studio):
    line = http.client.HTTPConnection("localhost", studio.port, timeout=10)
    line.putrequest("POST", "/api/v1/anything")
    line.putheader("Content-Type", "text/csv")
    line.putheader("Content-Length", str(50 * 1024 * 1024))
    line.endheaders()
    # The answer is there although not one byte of the body was sent.
    response = line.getresponse()
    assert response.status == 413
    assert json.loads(response.read())["code"] == "upload_too_big"
    line.close()


# The last one: it ends the studio of this file.
def test_it_ends_when_asked_and_frees_its_port(studio: Studio):
    studio.process.terminate()
    assert studio.process.wait(timeout=60) == 0
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        probe.bind(("127.0.0.1", studio.port))
