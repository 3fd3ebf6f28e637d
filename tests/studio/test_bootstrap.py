"""The parts of the start that need no installation; .ci/run does the whole from a clone."""

import os
import socket
import subprocess
import sys
from pathlib import Path

import pytest

from studio import parts
from studio.bootstrap import (
    StartFault,
    check_port,
    main,
    read_arguments,
    remove_old_studio,
    requirements_mark,
    settle_environment,
)
from studio.environment import ROOT, read_environment
from studio.process_tree import sole_run_of


def test_the_mark_changes_with_the_lock_and_the_python(tmp_path: Path):
    lock = tmp_path / "requirements.txt"
    lock.write_text("one==1\n")
    first = requirements_mark(lock, "python3.11")
    assert requirements_mark(lock, "python3.11") == first
    assert requirements_mark(lock, "python3.12") != first
    lock.write_text("one==2\n")
    assert requirements_mark(lock, "python3.11") != first


def test_a_busy_port_names_the_option():
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        with pytest.raises(StartFault, match=f"--port {port + 1}"):
            check_port("127.0.0.1", port)
    check_port("127.0.0.1", port)


def test_fresh_removes_what_a_studio_left_and_nothing_else(tmp_path: Path):
    (tmp_path / "studio.sqlite3").touch()
    (tmp_path / "demo-sign-ins.txt").touch()
    (tmp_path / "beat-schedule.dat").touch()
    (tmp_path / "appendonlydir").mkdir()
    (tmp_path / "holiday.jpg").touch()
    remove_old_studio(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["holiday.jpg"]


def test_a_missing_command_is_explained(capsys):
    with pytest.raises(SystemExit):
        read_arguments([])
    assert "required: what" in capsys.readouterr().err


@pytest.mark.parametrize("port", ["70000", "-1", "http"])
def test_a_port_that_is_none_is_explained(capsys, port):
    with pytest.raises(SystemExit):
        read_arguments(["demo", f"--port={port}"])
    assert f"{port!r} is no port" in capsys.readouterr().err


def test_production_without_its_variables_says_what_is_missing(monkeypatch, capsys):
    for name in ("WAREBOARD_MODE", "SECRET_KEY", "ALLOWED_HOSTS", "PUBLIC_URL"):
        monkeypatch.delenv(name, raising=False)
    assert main(["serve"]) == 2
    said = capsys.readouterr().err
    assert said.startswith("Wareboard did not start. Production needs SECRET_KEY, ALLOWED_HOSTS")


def test_a_web_alone_needs_a_prepared_machine(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr("studio.bootstrap.enter_environment", lambda *_: None)
    monkeypatch.setenv("WAREBOARD_HOME", str(tmp_path / "bare"))
    assert main(["web", "--port", "0"]) == 2
    assert "Run `python3 -m studio prepare` first" in capsys.readouterr().err


def test_a_second_start_is_told_of_the_first_and_not_of_its_port(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr("studio.bootstrap.enter_environment", lambda *_: None)
    monkeypatch.setattr(os, "environ", {**os.environ, "WAREBOARD_HOME": str(tmp_path)})
    with socket.socket() as first, sole_run_of(tmp_path):
        first.bind(("127.0.0.1", 0))
        first.listen()
        assert main(["demo", "--port", str(first.getsockname()[1])]) == 2
    assert "A studio already runs in" in capsys.readouterr().err


def test_the_demo_says_the_address_it_listens_on(monkeypatch):
    monkeypatch.setattr(os, "environ", {**os.environ})
    os.environ.pop("PUBLIC_URL", None)
    values = settle_environment(read_arguments(["demo", "--port", "8055"]))
    assert values["PUBLIC_URL"] == "http://localhost:8055"


def test_the_greeting_shows_the_demo_sign_ins(tmp_path: Path):
    (tmp_path / "demo-sign-ins.txt").write_text("crew: ada@example.org\n")
    values = read_environment(
        {
            "WAREBOARD_MODE": "demo",
            "WAREBOARD_HOME": str(tmp_path),
            "PUBLIC_URL": "http://localhost:8000",
        }
    )
    assert parts.greeting(read_arguments(["demo"]), values).splitlines() == [
        "Wareboard is up: http://localhost:8000",
        "",
        "crew: ada@example.org",
        "",
        "Ctrl-C stops it.",
    ]


@pytest.mark.parametrize(
    ("redis_url", "names"),
    [
        ("", ["broker", "prepare", "worker", "beat", "web"]),
        ("redis://localhost:6379/0", ["prepare", "worker", "beat", "web"]),
    ],
)
def test_no_broker_is_started_beside_a_given_one(redis_url, names, tmp_path):
    values = read_environment(
        {
            "WAREBOARD_MODE": "demo",
            "WAREBOARD_HOME": str(tmp_path),
            "REDIS_URL": redis_url,
        }
    )
    assert [part.name for part in parts.whole(read_arguments(["demo"]), values)] == names


def test_the_start_needs_the_standard_library_only():
    """-S hides every installed package; -I hides the environment."""
    code = f"import sys; sys.path.insert(0, {str(ROOT)!r}); import studio.bootstrap, tests.run"
    subprocess.run([sys.executable, "-I", "-S", "-c", code], check=True)
