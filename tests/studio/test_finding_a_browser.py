from pathlib import Path

import pytest

from tests.browser import NoBrowser, find_chromium


@pytest.fixture
def program(tmp_path: Path) -> Path:
    path = tmp_path / "chromium"
    path.write_text("#!/bin/sh\n")
    path.chmod(0o755)
    return path


def test_the_named_program_wins(monkeypatch, program):
    monkeypatch.setenv("CHROMIUM", str(program))
    assert find_chromium() == str(program)


def test_a_named_program_that_is_missing_is_told(monkeypatch):
    monkeypatch.setenv("CHROMIUM", "no-such-program")
    with pytest.raises(NoBrowser, match="CHROMIUM is 'no-such-program'"):
        find_chromium()


def test_the_path_is_searched(monkeypatch, program):
    monkeypatch.delenv("CHROMIUM", raising=False)
    monkeypatch.setenv("PATH", str(program.parent))
    assert find_chromium() == str(program)


def test_without_root_it_says_what_to_install(monkeypatch, tmp_path):
    monkeypatch.delenv("CHROMIUM", raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    monkeypatch.setattr("os.geteuid", lambda: 1000)
    with pytest.raises(NoBrowser, match="apt-get install chromium"):
        find_chromium()
