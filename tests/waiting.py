"""Waiting for something another process does, without guessing how long it takes."""

import threading
import time
from collections.abc import Callable
from typing import TypeVar

Answer = TypeVar("Answer")
LOOK_S = 0.02


def until(ask: Callable[[], Answer], within_s: float = 20.0) -> Answer:
    """Ask until the answer is true and give it back; fails when the time is over."""
    pause = threading.Event()
    end = time.monotonic() + within_s
    while time.monotonic() < end:
        answer = ask()
        if answer:
            return answer
        pause.wait(LOOK_S)
    raise AssertionError(f"did not happen within {within_s:g} s")
