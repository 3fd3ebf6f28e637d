"""From a fresh clone to a running studio, with nothing but Python's standard library.

1. make `.venv` and install requirements.txt, when it is missing or has changed
2. start over inside that environment
3. hand over to the process tree, which prepares the database and serves
"""

from __future__ import annotations

import argparse
import hashlib
import os
import shutil
import socket
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from studio import parts
from studio.environment import (
    DEMO_SIGN_INS,
    ROOT,
    Environment,
    EnvironmentFault,
    read_environment,
)
from studio.process_tree import AlreadyRunning, ProcessTree, sole_run_of

VENV = ROOT / ".venv"
RUN_LOCK = ROOT / "requirements.txt"
TEST_LOCK = ROOT / "tests" / "requirements.txt"
# What the demo leaves in its folder; `--fresh` removes these and nothing else.
LEFT_BY_A_STUDIO = (
    "studio.sqlite3",
    "studio.sqlite3-wal",
    "studio.sqlite3-shm",
    "appendonlydir",
    # One or more files: Python's dbm chooses by what the machine has.
    *(f"beat-schedule{ending}" for ending in ("", ".db", ".bak", ".dat", ".dir")),
    DEMO_SIGN_INS,
    "media",
    "static",
)


class StartFault(Exception):
    """Why it cannot start, in words for the person at the terminal."""


# --- The environment ------------------------------------------------------------------------


def requirements_mark(lock: Path, python: str) -> str:
    """What the environment was installed from: the lock file and the Python that reads it."""
    return hashlib.sha256(lock.read_bytes() + python.encode()).hexdigest()


def is_inside(venv: Path) -> bool:
    return Path(sys.prefix).resolve() == venv.resolve()


def _make_venv(venv: Path) -> None:
    print(f"Making {venv.name} ...", flush=True)
    made = subprocess.run([sys.executable, "-m", "venv", "--clear", str(venv)], check=False)
    if made.returncode != 0:
        shutil.rmtree(venv, ignore_errors=True)
        raise StartFault(
            "Python could not make a virtual environment. On Debian and Ubuntu install the package"
            f" python3.{sys.version_info.minor}-venv, then run this command again."
        )


def _install(python: Path, lock: Path) -> None:
    print(f"Installing {lock.relative_to(ROOT)} (about a minute the first time) ...", flush=True)
    command = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check"]
    installed = subprocess.run([*command, "--require-hashes", "-r", str(lock)], check=False)
    if installed.returncode != 0:
        raise StartFault(
            "The installation failed; pip says why above. Mend that and run this command again:"
            " it goes on where it stopped."
        )


def _python_of(venv: Path) -> str:
    """Such as python3.12: it may differ from the Python that runs the bootstrap."""
    return next((folder.name for folder in (venv / "lib").glob("python3.*")), "")


def ensure_environment(lock: Path, venv: Path = VENV) -> Path:
    """The environment's Python, with everything of the lock file installed."""
    python = venv / "bin" / "python"
    if not python.exists():
        _make_venv(venv)
    if not _is_installed(lock, venv):
        _install(python, lock)
        # The lock of the tests holds that of the studio.
        for held in {lock, RUN_LOCK}:
            _stamp(held, venv).write_text(requirements_mark(held, _python_of(venv)))
    return python


def _stamp(lock: Path, venv: Path) -> Path:
    return venv / f"installed-{'-'.join(lock.relative_to(ROOT).parts)}"


def _is_installed(lock: Path, venv: Path) -> bool:
    stamp = _stamp(lock, venv)
    return stamp.exists() and stamp.read_text() == requirements_mark(lock, _python_of(venv))


def enter_environment(module: str, arguments: Sequence[str], lock: Path) -> None:
    """Go on inside the environment: replaces this process unless it is there already."""
    python = ensure_environment(lock)
    if not is_inside(VENV):
        os.chdir(ROOT)
        os.execv(python, [str(python), "-m", module, *arguments])


# --- Before serving -------------------------------------------------------------------------


def check_port(host: str, port: int) -> None:
    """Refuse a port somebody else listens on."""
    family = socket.AF_INET6 if ":" in host else socket.AF_INET
    with socket.socket(family, socket.SOCK_STREAM) as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError as fault:
            raise StartFault(
                f"Cannot listen on {host} port {port} ({fault.strerror})."
                f" Choose another with --port, such as --port {port + 1}."
            ) from fault


def remove_old_studio(home: Path) -> None:
    """Forget the demo: only what a studio leaves behind, never the folder of someone else."""
    for name in LEFT_BY_A_STUDIO:
        path = home / name
        if path.is_dir():
            shutil.rmtree(path)
        else:
            path.unlink(missing_ok=True)


def settle_environment(arguments: argparse.Namespace) -> Environment:
    """Put what the command line says into the environment of the parts, and read it back."""
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "studio.settings")
    if arguments.part == "demo":
        os.environ["WAREBOARD_MODE"] = "demo"
        shown = "localhost" if arguments.host in ("127.0.0.1", "0.0.0.0", "::") else arguments.host  # noqa: S104
        os.environ.setdefault("PUBLIC_URL", f"http://{shown}:{arguments.port}")
    return read_environment()


# --- The command line -----------------------------------------------------------------------


def read_arguments(words: Sequence[str]) -> argparse.Namespace:
    parser = argparse.ArgumentParser(prog="python3 -m studio", description=__doc__.splitlines()[0])
    words_for = parser.add_subparsers(dest="part", required=True, metavar="what")
    demo = words_for.add_parser("demo", help="an invented studio to look around in")
    demo.add_argument("--fresh", action="store_true", help="forget the demo and build it anew")
    serve = words_for.add_parser("serve", help="your studio: pages, worker and scheduler")
    web = words_for.add_parser("web", help="the pages alone, for several machines")
    words_for.add_parser("prepare", help="database and static files alone, before any web")
    words_for.add_parser("worker", help="a worker alone")
    words_for.add_parser("beat", help="the scheduler alone; run exactly one")
    words_for.add_parser("listener", help="what hears meters by MQTT, alone; run exactly one")
    for one in (demo, serve, web):
        one.add_argument("--host", default="127.0.0.1", help="address to listen on")
        one.add_argument("--port", type=_port, default=8000, help="port to listen on")
    return parser.parse_args(words)


def _port(text: str) -> int:
    if not (text.isascii() and text.isdigit() and int(text) < 65536):
        raise argparse.ArgumentTypeError(f"{text!r} is no port: write a number up to 65535")
    return int(text)


def main(words: Sequence[str]) -> int:
    arguments = read_arguments(words)
    try:
        enter_environment("studio", words, RUN_LOCK)
        return _run(arguments)
    except (StartFault, EnvironmentFault, AlreadyRunning) as fault:
        print(f"Wareboard did not start. {fault}", file=sys.stderr)
        return 2


def _run(arguments: argparse.Namespace) -> int:
    environment = settle_environment(arguments)
    if arguments.part == "web" and not (environment.home / "static").exists():
        raise StartFault("This machine is not prepared. Run `python3 -m studio prepare` first.")
    if arguments.part in parts.ALONE:
        if arguments.part == "web":
            check_port(arguments.host, arguments.port)
        part = parts.single(arguments, environment)
        os.execv(part.command[0], list(part.command))
    environment.home.mkdir(parents=True, exist_ok=True)
    with sole_run_of(environment.home):
        check_port(arguments.host, arguments.port)
        if getattr(arguments, "fresh", False):
            if environment["DATABASE_URL"]:
                raise StartFault("--fresh empties the SQLite file only; DATABASE_URL is set.")
            remove_old_studio(environment.home)
        return ProcessTree(parts.whole(arguments, environment)).run()
