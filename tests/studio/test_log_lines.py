"""Production's log lines, written by a process of its own: logging is set up once a process."""

import json
import subprocess
import sys

import pytest

from studio.environment import ROOT

WRITES = """
import logging, logging.config, structlog
from studio.log_lines import logging_settings
logging.config.dictConfig(logging_settings("INFO", as_json=True))
with structlog.contextvars.bound_contextvars(request="mark-1"):
    structlog.get_logger("firings").info("firing_closed", firing=7)
    logging.getLogger("a.library").warning("disk %s is full", "sda")
    logging.getLogger("celery.worker").info("of every task")
    try:
        raise ValueError("kiln 3")
    except ValueError:
        password = "hunter-of-clay"
        logging.getLogger("a.library").exception("crashed")
"""


@pytest.fixture(scope="module")
def lines() -> list[dict]:
    ended = subprocess.run(
        [sys.executable, "-c", WRITES], cwd=ROOT, capture_output=True, text=True, check=True
    )
    return [json.loads(line) for line in ended.stderr.splitlines()]


def test_lines_of_ours_and_of_libraries_carry_the_mark(lines):
    ours, theirs, _ = lines
    assert (ours["event"], ours["firing"], ours["request"]) == ("firing_closed", 7, "mark-1")
    assert (theirs["event"], theirs["level"]) == ("disk sda is full", "warning")
    assert theirs["request"] == "mark-1"


def test_a_crash_keeps_its_traceback(lines):
    crash = lines[-1]
    assert crash["event"] == "crashed"
    assert crash["exception"][0]["exc_value"] == "kiln 3"


def test_a_traceback_holds_no_values(lines):
    """OWASP ASVS 5.0.0, 16.2.5: among the variables of a crash are passwords and links."""
    assert "hunter-of-clay" not in json.dumps(lines)


def test_the_demo_writes_no_values_either():
    script = WRITES.replace("as_json=True", "as_json=False")
    ended = subprocess.run(
        [sys.executable, "-c", script], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert "ValueError: kiln 3" in ended.stderr
    assert "hunter-of-clay" not in ended.stderr


def test_celery_is_quiet(lines):
    assert "of every task" not in [line["event"] for line in lines]
