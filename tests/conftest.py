"""Fixtures that every room of the tests may use."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Iterator
from urllib.parse import urlsplit

import pytest
import redis
from django.conf import settings
from django.db import connection
from hypothesis import HealthCheck
from hypothesis import settings as property_settings
from playwright.sync_api import Browser, Page, sync_playwright

from studio.celery import app
from studio.environment import ROOT
from tests.browser import FLAGS, find_chromium
from tests.flushing import flushing_past_triggers
from tests.waiting import until

# How long a property takes says how busy the machine is, and nothing about the property.
property_settings.register_profile(
    "unhurried", deadline=None, suppress_health_check=[HealthCheck.too_slow]
)
property_settings.load_profile("unhurried")


@pytest.fixture(scope="session", autouse=True)
def flush_past_triggers() -> Iterator[None]:
    """A test that commits is followed by a flush, which the books' triggers would refuse."""
    with flushing_past_triggers():
        yield


@pytest.fixture(scope="session")
def broker_line() -> Iterator[redis.Redis]:
    """A connection of the tests' own to the broker."""
    line = redis.Redis.from_url(settings.CACHES["default"]["LOCATION"])
    until(lambda: _answers(line))
    yield line
    line.close()


def _answers(line: redis.Redis) -> bool:
    try:
        return bool(line.ping())
    except redis.exceptions.ConnectionError:
        return False


@pytest.fixture(autouse=True)
def fresh_counters(broker_line: redis.Redis) -> None:
    """No test is refused for what another did: the rate limits start at nothing."""
    for key in broker_line.scan_iter("wareboard:*"):
        broker_line.delete(key)


def database_url_of_the_test() -> str:
    """The address of the test database, for a process of its own."""
    name = str(connection.settings_dict["NAME"])
    if connection.vendor == "sqlite":
        return f"sqlite:///{name}"
    return urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}").geturl()


@pytest.fixture
def worker_environment(transactional_db: None) -> dict[str, str]:
    """What a separate process needs to work on the test database."""
    return {**os.environ, "DATABASE_URL": database_url_of_the_test()}


@pytest.fixture
def celery_worker_process(
    worker_environment: dict[str, str], broker_line: redis.Redis
) -> Iterator[subprocess.Popen[bytes]]:
    """A real worker: another process, the real broker, the test database."""
    broker_line.delete("celery")
    worker = start_worker(worker_environment)
    try:
        until(lambda: app.control.ping(timeout=0.2), within_s=30)
        yield worker
    finally:
        stop(worker)
        app.close()


def start_worker(environment: dict[str, str]) -> subprocess.Popen[bytes]:
    quiet = ["--loglevel", "WARNING", "--without-gossip", "--without-mingle", "--concurrency", "1"]
    return subprocess.Popen(
        [sys.executable, "-m", "celery", "-A", "studio.celery", "worker", *quiet],
        cwd=ROOT,
        env=environment,
        start_new_session=True,
    )


def stop(process: subprocess.Popen[bytes]) -> None:
    """Ask it to end; a worker whose broker is gone would wait for ever, so insist."""
    process.terminate()
    try:
        process.wait(timeout=10)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    """One Chromium for the whole run; each test opens its own context."""
    with sync_playwright() as playwright:
        opened = playwright.chromium.launch(executable_path=find_chromium(), args=FLAGS)
        yield opened
        opened.close()


@pytest.fixture
def page(browser: Browser) -> Iterator[Page]:
    """A fresh page the size of a phone."""
    context = browser.new_context(viewport={"width": 390, "height": 844})
    yield context.new_page()
    context.close()
