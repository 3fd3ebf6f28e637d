"""Requests a second of the member's home and the booking form against a bare view, in one run.

    python -m tests.benchmarks.pages [--seconds 5] [--connections 8]

One server (the product's own, two processes), one database, one signed-in member with twelve
bookings in different states; the three addresses are asked in turn, three rounds, and the medians
are compared. Read the ratios: the requests a second are this machine's.
"""

from __future__ import annotations

import argparse
import http.client
import os
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from pathlib import Path

ROUNDS = 3
ADDRESSES = {
    "bare view, one query": "/bare/",
    "member's home": "/",
    "booking form": "/book/?stage=bisque&cone=04",
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=5)
    parser.add_argument("--connections", type=int, default=8)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="wb-") as folder:
        os.environ |= {"WAREBOARD_HOME": folder, "WAREBOARD_MODE": "demo"}
        cookie = _build_studio()
        port = _free_port()
        server = _serve(port, folder)
        try:
            _wait_for(port)
            _measure(port, cookie, arguments.seconds, arguments.connections)
        finally:
            server.terminate()
            server.wait()


def _build_studio() -> str:
    """A member with ware in several states; answers the cookie of a signed-in session."""
    import django

    os.environ["DJANGO_SETTINGS_MODULE"] = "studio.settings"
    django.setup()
    from django.core.management import call_command
    from django.test import Client

    from studio.actions.outbox import without_nudges
    from studio.models import Studio
    from tests import scene

    call_command("migrate", verbosity=0)
    call_command("collectstatic", interactive=False, verbosity=0)
    Studio.current()
    with without_nudges():
        member, crew, kiln = scene.person("Ines"), scene.crew(), scene.kiln()
        scene.glaze()
        for _ in range(6):
            scene.booking(member)
        firing = scene.started(crew, scene.loading(crew, kiln))
        firing, ended_at = scene.cooled(crew, firing)
        scene.unloaded(crew, scene.opened(crew, firing, at=ended_at), at=ended_at)
        for _ in range(6):
            scene.booking(member, stage="glaze")
    client = Client()
    client.force_login(member, backend="allauth.account.auth_backends.AuthenticationBackend")
    return f"sessionid={client.cookies['sessionid'].value}"


def _serve(port: int, folder: str) -> subprocess.Popen[bytes]:
    options = ["--interface", "wsgi", "--port", str(port), "--workers", "2"]
    threads = ["--blocking-threads", "4", "--log-level", "warning", "--no-ws"]
    command = [sys.executable, "-m", "granian", *options, *threads]
    return subprocess.Popen(
        [*command, "tests.benchmarks.bare_site:application"],
        env={**os.environ, "WAREBOARD_HOME": folder},
        cwd=Path(__file__).resolve().parents[2],
    )


def _measure(port: int, cookie: str, seconds: float, connections: int) -> None:
    rates: dict[str, list[float]] = {name: [] for name in ADDRESSES}
    for _ in range(ROUNDS):
        for name, path in ADDRESSES.items():
            rates[name].append(_requests_a_second(port, path, cookie, seconds, connections))
    bare = statistics.median(rates["bare view, one query"])
    print(f"{'address':24}{'requests/s':>12}{'bare / this':>14}")
    for name, values in rates.items():
        rate = statistics.median(values)
        print(f"{name:24}{rate:12.0f}{bare / rate:14.2f}")


def _requests_a_second(
    port: int, path: str, cookie: str, seconds: float, connections: int
) -> float:
    counts = [0] * connections
    until = time.monotonic() + seconds

    def ask(number: int) -> None:
        line = http.client.HTTPConnection("localhost", port)
        while time.monotonic() < until:
            line.request("GET", path, headers={"Cookie": cookie, "Host": "localhost"})
            answer = line.getresponse()
            answer.read()
            if answer.status != 200:
                raise SystemExit(f"{path} answered {answer.status}")
            counts[number] += 1

    threads = [threading.Thread(target=ask, args=(number,)) for number in range(connections)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    return sum(counts) / seconds


def _free_port() -> int:
    import socket

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _wait_for(port: int) -> None:
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline:
        try:
            line = http.client.HTTPConnection("localhost", port, timeout=2)
            line.request("GET", "/healthz")
            if line.getresponse().status == 200:
                return
        except OSError:
            threading.Event().wait(0.2)
    raise SystemExit("the server did not start")


if __name__ == "__main__":
    main()
