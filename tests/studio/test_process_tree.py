"""The tree is run as a real process with small real children, and its children are killed."""

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import chain
from pathlib import Path

import pytest

from studio.environment import ROOT
from studio.process_tree import AlreadyRunning, Part, ProcessTree, sole_run_of
from tests.waiting import until

# A child that starts a grandchild, writes both numbers to a file and waits.
CHILD = """
import os, signal, subprocess, sys
grandchild = subprocess.Popen([sys.executable, "-c", "import signal; signal.pause()"])
def stop(*_):
    grandchild.terminate(); sys.exit(0)
signal.signal(signal.SIGTERM, stop)
with open(sys.argv[1], "a") as file:
    file.write(f"{os.getpid()} {grandchild.pid}\\n")
print("child is up", flush=True)
signal.pause()
"""

TREE = """
import sys
from studio.process_tree import Part, ProcessTree
command = (sys.executable, "-c", sys.argv[2], sys.argv[1])
sys.exit(ProcessTree([Part("first", command, stops_last=True), Part("second", command)]).run())
"""


def numbers_in(file: Path) -> list[list[int]]:
    text = file.read_text() if file.exists() else ""
    return [[int(word) for word in line.split()] for line in text.splitlines()]


def pids_of_both(file: Path) -> list[int]:
    lines = until(lambda: len(numbers_in(file)) == 2 and numbers_in(file))
    return list(chain.from_iterable(lines))


def is_alive(number: int) -> bool:
    try:
        state = Path(f"/proc/{number}/stat").read_text().rpartition(")")[2].split()[0]
    except FileNotFoundError:
        return False
    return state != "Z"


@contextmanager
def running_tree(file: Path) -> Iterator[subprocess.Popen[str]]:
    tree = subprocess.Popen(
        [sys.executable, "-c", TREE, str(file), CHILD],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    try:
        yield tree
    finally:
        tree.kill()
        tree.communicate()
        for number in chain.from_iterable(numbers_in(file)):
            if is_alive(number):
                os.kill(number, signal.SIGKILL)


def test_a_killed_child_is_started_again_and_its_own_child_killed(tmp_path):
    file = tmp_path / "numbers"
    with running_tree(file):
        (first, grandchild), _ = until(lambda: len(numbers_in(file)) == 2 and numbers_in(file))
        os.kill(first, signal.SIGKILL)
        until(lambda: len(numbers_in(file)) == 3)
        until(lambda: not is_alive(grandchild))


def test_sigterm_stops_everything_and_ends_well(tmp_path):
    file = tmp_path / "numbers"
    with running_tree(file) as tree:
        pids = pids_of_both(file)
        tree.terminate()
        text, _ = tree.communicate(timeout=20)
        assert tree.returncode == 0
        assert not [number for number in pids if is_alive(number)]
        assert " first | child is up\n" in text
        assert "second | child is up\n" in text


def test_nothing_is_left_when_the_parent_is_killed(tmp_path):
    file = tmp_path / "numbers"
    with running_tree(file) as tree:
        pids = pids_of_both(file)
        tree.kill()
        until(lambda: not [number for number in pids if is_alive(number)])


def test_a_step_that_fails_starts_nothing_after_it(tmp_path):
    said: list[str] = []
    never = tmp_path / "never"
    fails = Part("prepare", (sys.executable, "-c", "print('no disk'); exit(3)"), runs_once=True)
    after = Part("web", (sys.executable, "-c", f"open({str(never)!r}, 'w')"))
    assert ProcessTree([fails, after], write=said.append).run() == 1
    assert said == [
        "prepare | no disk",
        "prepare | failed with 3: nothing was started. The reason is above.",
    ]
    assert not never.exists()


def test_one_folder_holds_one_tree(tmp_path):
    with (
        sole_run_of(tmp_path),
        pytest.raises(AlreadyRunning, match="already runs"),
        sole_run_of(tmp_path),
    ):
        pass
