"""uPlot is served whole and unchanged, and nothing else of the wheel that carries it."""

import hashlib
from io import StringIO
from pathlib import Path

import pytest
from django.contrib.staticfiles import finders
from django.core.management import call_command

from studio.pages.chart_files import SERVED, ChartFilesFinder, chart_files_folder

# SHA-256 of dist/uPlot.iife.min.js and dist/uPlot.min.css in the npm package uplot 1.6.31, as its
# author published it: computed from the package as the client npm unpacks it.
PUBLISHED = {
    "uplot/uplot.iife.min.js": "2d27e8ad3d228164525ce213f9dc716f39b4e3aee0cc773fb3491c96cf4921a2",
    "uplot/uplot.min.css": "df630c6a8d6f8eeaff264b50f73ce5b114f646ffd9a0bb74f049b0a00135fa04",
}


@pytest.mark.parametrize("path", PUBLISHED)
def test_the_served_files_are_those_that_were_published(path):
    content = Path(finders.find(path)).read_bytes()
    assert hashlib.sha256(content).hexdigest() == PUBLISHED[path]


def test_the_script_says_which_version_it_is():
    script = (chart_files_folder() / "uplot.iife.min.js").read_text(encoding="utf-8")
    assert script.startswith("/*! https://github.com/leeoniya/uPlot (v1.6.31) */")


def test_nothing_else_of_the_wheel_is_served():
    assert (chart_files_folder() / "__init__.py").exists()
    assert finders.find("uplot/__init__.py") is None
    assert finders.find("uplot/../figure.py") is None
    assert [name for name, _ in ChartFilesFinder().list([])] == list(SERVED)


def test_both_are_collected_for_a_web_server(tmp_path, settings):
    settings.STATIC_ROOT = tmp_path
    call_command("collectstatic", interactive=False, verbosity=0, stdout=StringIO())
    assert {path.name for path in (tmp_path / "uplot").iterdir()} == set(SERVED)
