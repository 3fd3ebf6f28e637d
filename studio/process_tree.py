"""Runs the parts of a studio as one tree of processes, with nothing but the standard library.

- a part that dies is started again, after a growing pause; what it left running is killed
- SIGTERM or Ctrl-C stops all, the broker last; what does not stop in time is killed
- when this process itself is killed with -9, Linux tells every part to stop
"""

from __future__ import annotations

import contextlib
import ctypes
import fcntl
import os
import selectors
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

PAUSE_S_MIN, PAUSE_S_MAX = 0.5, 30.0
STEADY_S = 30.0  # a part that ran this long starts again at once
READY_S = 60.0
STOP_S = 15.0
LOOK_S = 0.1

_PR_SET_PDEATHSIG = 1
_LIBC = ctypes.CDLL(None, use_errno=True) if sys.platform == "linux" else None


class AlreadyRunning(Exception):
    """Another process tree works in this folder."""


@dataclass(frozen=True)
class Part:
    """One child: its command and how it belongs to the tree."""

    name: str
    command: tuple[str, ...]
    is_ready: Callable[[], bool] | None = None
    once_ready: Callable[[], str] | None = None
    runs_once: bool = False
    stops_last: bool = False


@dataclass
class _Child:
    part: Part
    process: subprocess.Popen[bytes] | None = None
    started_at: float = 0.0
    pause_s: float = PAUSE_S_MIN
    start_again_at: float | None = None
    is_announced: bool = False
    unfinished: bytes = field(default=b"", repr=False)


@contextlib.contextmanager
def sole_run_of(home: Path) -> Iterator[None]:
    """Hold the folder: two brokers or two schedulers in one folder would spoil each other."""
    with (home / "running.lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as fault:
            raise AlreadyRunning(
                f"A studio already runs in {home}. Stop it first, or set WAREBOARD_HOME to"
                " another folder."
            ) from fault
        yield


def _stop_with_parent() -> None:
    """In the child before exec: ask the kernel for SIGTERM when the parent dies."""
    if _LIBC is not None:
        _LIBC.prctl(_PR_SET_PDEATHSIG, signal.SIGTERM)


class ProcessTree:
    def __init__(self, parts: Sequence[Part], write: Callable[[str], None] | None = None) -> None:
        self.children = [_Child(part) for part in parts]
        self.width = max(len(part.name) for part in parts)
        self.write = write or _write_line
        self.lines = selectors.DefaultSelector()
        self.is_stopping = False

    def run(self) -> int:
        """Start all in order, keep them up until a signal comes; 0 when stopped on purpose."""
        before = {
            number: signal.signal(number, self._ask_to_stop)
            for number in (signal.SIGTERM, signal.SIGINT)
        }
        try:
            if not self._start_in_order():
                return 0 if self.is_stopping else 1
            while not self.is_stopping:
                self._look_after()
            return 0
        finally:
            self._stop_all()
            for number, handler in before.items():
                signal.signal(number, handler)

    # --- starting ---

    def _start_in_order(self) -> bool:
        for child in self.children:
            if self.is_stopping:
                return False
            self._start(child)
            if child.part.runs_once and not self._wait_for_end(child):
                return False
            if child.part.stops_last and not self._wait_until_ready(child):
                return False
        return True

    def _start(self, child: _Child) -> None:
        child.process = subprocess.Popen(
            child.part.command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            start_new_session=True,
            preexec_fn=_stop_with_parent,
        )
        child.started_at = time.monotonic()
        child.start_again_at = None
        child.unfinished = b""
        assert child.process.stdout is not None  # noqa: S101
        os.set_blocking(child.process.stdout.fileno(), False)
        self.lines.register(child.process.stdout, selectors.EVENT_READ, child)

    def _wait_for_end(self, child: _Child) -> bool:
        while not self.is_stopping:
            self._read_lines(LOOK_S)
            code = child.process.poll()
            if code is not None:
                self._gather(child)
                if code != 0:
                    self._say(
                        child, f"failed with {code}: nothing was started. The reason is above."
                    )
                return code == 0
        return False

    def _wait_until_ready(self, child: _Child) -> bool:
        until = time.monotonic() + READY_S
        while not self.is_stopping and time.monotonic() < until:
            self._read_lines(LOOK_S)
            if child.process.poll() is not None:
                break
            if child.part.is_ready is None or child.part.is_ready():
                return True
        if not self.is_stopping:
            self._say(child, "does not answer: nothing else was started.")
        return False

    # --- while it runs ---

    def _look_after(self) -> None:
        self._read_lines(LOOK_S)
        for child in self.children:
            if child.process is not None and child.process.poll() is not None:
                self._bury(child)
            elif child.start_again_at is not None and time.monotonic() >= child.start_again_at:
                self._start(child)
            elif not child.is_announced:
                self._announce(child)

    def _announce(self, child: _Child) -> None:
        if child.process is None or child.part.once_ready is None:
            child.is_announced = True
        elif child.part.is_ready is None or child.part.is_ready():
            child.is_announced = True
            self.write(f"\n{child.part.once_ready()}\n")

    def _bury(self, child: _Child) -> None:
        """A child has died: kill what it left behind and set the hour of its return."""
        code = child.process.returncode
        self._gather(child)
        if child.part.runs_once:
            return
        ran_s = time.monotonic() - child.started_at
        pause_s = PAUSE_S_MIN if ran_s >= STEADY_S else child.pause_s
        child.pause_s = min(pause_s * 2, PAUSE_S_MAX)
        child.start_again_at = time.monotonic() + pause_s
        self._say(child, f"ended with {code}; starting again in {pause_s:g} s")

    def _gather(self, child: _Child) -> None:
        """Take the last lines of a dead child and kill the rest of its group."""
        _signal_group(child.process, signal.SIGKILL)
        while self._read_from(child):
            pass
        self.lines.unregister(child.process.stdout)
        child.process.stdout.close()
        child.process = None

    # --- stopping ---

    def _ask_to_stop(self, *_: object) -> None:
        self.is_stopping = True

    def _stop_all(self) -> None:
        last = [child for child in self.children if child.part.stops_last]
        self._stop([child for child in self.children if child not in last])
        self._stop(last)
        self.lines.close()

    def _stop(self, children: Sequence[_Child]) -> None:
        alive = [child for child in children if child.process is not None]
        for child in alive:
            # Only the leader: it knows how to let its own workers finish.
            child.process.terminate()
        until = time.monotonic() + STOP_S
        while time.monotonic() < until and any(one.process.poll() is None for one in alive):
            self._read_lines(LOOK_S)
        for child in alive:
            if child.process.poll() is None:
                self._say(child, f"did not stop within {STOP_S:g} s: killed")
            _signal_group(child.process, signal.SIGKILL)
            child.process.wait()
            self._gather(child)

    # --- lines ---

    def _read_lines(self, timeout_s: float) -> None:
        for key, _ in self.lines.select(timeout_s):
            if self._read_from(key.data) == b"":
                # A closed pipe is always "ready": without a pause this would spin.
                time.sleep(LOOK_S)

    def _read_from(self, child: _Child) -> bytes | None:
        """Pass on the lines that are there; b"" at the end, None when nothing is there yet."""
        try:
            text = os.read(child.process.stdout.fileno(), 65536)
        except BlockingIOError:
            return None
        *lines, child.unfinished = (child.unfinished + text).split(b"\n")
        if not text and child.unfinished:
            lines, child.unfinished = [child.unfinished], b""
        for line in lines:
            self._say(child, line.decode("utf-8", "replace"))
        return text

    def _say(self, child: _Child, line: str) -> None:
        self.write(f"{child.part.name:>{self.width}} | {line}")


def _write_line(line: str) -> None:
    # A closed terminal is no reason to let the studio fall.
    with contextlib.suppress(OSError, ValueError):
        print(line, flush=True)


def _signal_group(process: subprocess.Popen[bytes], number: int) -> None:
    with contextlib.suppress(ProcessLookupError, PermissionError):
        os.killpg(process.pid, number)
