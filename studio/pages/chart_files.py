"""uPlot, the library that draws curves in a browser, out of the wheel that carries it.

Of the wheel `youplot` only the script and its style sheet are served, as uplot/…; a test holds
both against the hashes of the files of uPlot 1.6.31 as its author publishes them.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from django.contrib.staticfiles.finders import BaseFinder
from django.core.checks import CheckMessage
from django.core.files.storage import FileSystemStorage

PREFIX = "uplot"
SERVED = ("uplot.iife.min.js", "uplot.min.css")


def chart_files_folder() -> Path:
    """Where the wheel's copy of uPlot lies; found without importing the wheel."""
    found = find_spec("youplot")
    if found is None or found.origin is None:
        raise FileNotFoundError("The package youplot, which carries uPlot, is not installed.")
    return Path(found.origin).parent / "vendor"


class ChartFilesFinder(BaseFinder):
    """Finds uPlot's two files for the server of static files, and nothing else of the wheel."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self.storage = FileSystemStorage(location=chart_files_folder())
        self.storage.prefix = PREFIX
        super().__init__(*args, **kwargs)

    def check(self, **kwargs: Any) -> list[CheckMessage]:
        return []

    def find(self, path: str, find_all: bool = False, **kwargs: Any) -> str | list[str]:
        """The file behind uplot/<name>; as a list when all are asked for."""
        named = [name for name in SERVED if path == f"{PREFIX}/{name}"]
        found = [self.storage.path(name) for name in named]
        if find_all:
            return found
        return found[0] if found else []

    def list(self, ignore_patterns: Iterable[str] | None) -> Iterator[tuple[str, Any]]:
        """What is collected for a web server."""
        for name in SERVED:
            yield name, self.storage
