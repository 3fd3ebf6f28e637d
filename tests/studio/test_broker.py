import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from redis import Redis
from redis.exceptions import ConnectionError as RedisConnectionError

from studio.broker import (
    SOCKET_PATH_BYTES_MAX,
    cache_url,
    celery_url,
    private_socket_path,
    socket_path,
)
from studio.celery import app
from studio.environment import EnvironmentFault
from tests.environment import start_broker
from tests.waiting import until


def test_the_socket_lies_in_the_studios_folder():
    assert socket_path(Path("/srv/studio")) == Path("/srv/studio/broker.sock")


def test_a_long_folder_gets_a_short_socket():
    home = Path("/srv") / ("ä" * 60) / "studio"
    path = socket_path(home)
    assert len(bytes(path)) <= SOCKET_PATH_BYTES_MAX
    assert socket_path(home) == path
    assert socket_path(home / "other") != path


def test_a_folder_of_another_user_is_refused(monkeypatch, tmp_path):
    assert private_socket_path(tmp_path) == tmp_path / "broker.sock"
    monkeypatch.setattr("os.getuid", lambda: tmp_path.stat().st_uid + 1)
    with pytest.raises(EnvironmentFault, match="belongs to another user"):
        private_socket_path(tmp_path)


def test_a_given_server_wins():
    url = "redis://cache.example.org:6379/3"
    assert celery_url(url, Path("/srv")) == url
    assert cache_url(url, Path("/srv")) == url


def answers(line: Redis) -> bool:
    try:
        return bool(line.ping())
    except RedisConnectionError:
        return False


@pytest.fixture
def short_folder() -> Iterator[Path]:
    """pytest's own folders are too long for a socket."""
    with tempfile.TemporaryDirectory(prefix="wb-") as folder:
        yield Path(folder)


def test_both_clients_reach_a_server_in_a_folder_with_spaces_and_umlauts(short_folder: Path):
    home = short_folder / "Töpferei am Markt"
    home.mkdir()
    server = start_broker(home)
    try:
        with Redis.from_url(cache_url("", home)) as cache:
            until(lambda: answers(cache))
        with app.connection(celery_url("", home)) as line:
            line.default_channel.client.set("seen", "by Celery")
        assert server.poll() is None
        assert socket_path(home).stat().st_mode & 0o777 == 0o700
    finally:
        server.terminate()
        server.wait()
