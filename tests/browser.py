"""Finds a Chromium for the tests that look at pages, or installs Debian's where it may."""

from __future__ import annotations

import os
import shutil
import subprocess

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--no-first-run",
    "--disable-quic",
]


class NoBrowser(Exception):
    """There is no Chromium and none may be installed."""


def find_chromium() -> str:
    """The path of a Chromium: from CHROMIUM, from PATH, or freshly installed."""
    named = os.environ.get("CHROMIUM", "")
    if named:
        if shutil.which(named) is None:
            raise NoBrowser(f"CHROMIUM is {named!r}, which is no program.")
        return named
    return _in_path() or _installed()


def _in_path() -> str | None:
    return next((path for name in NAMES if (path := shutil.which(name))), None)


def _installed() -> str:
    if os.geteuid() != 0 or shutil.which("apt-get") is None:
        raise NoBrowser(
            "The page tests need Chromium. Install it (Debian: apt-get install chromium), or name"
            " its program in CHROMIUM."
        )
    quiet = {**os.environ, "DEBIAN_FRONTEND": "noninteractive"}
    install = ["apt-get", "install", "-y", "-qq", "--no-install-recommends", "chromium"]
    for command in (["apt-get", "update", "-qq"], install):
        subprocess.run(command, check=True, env=quiet, stdout=subprocess.DEVNULL)
    path = _in_path()
    if path is None:
        raise NoBrowser("Debian's chromium was installed, but its program is not in PATH.")
    return path
