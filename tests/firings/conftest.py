"""What the tests of firings stand on, whatever room they are in."""

from collections.abc import Iterator

import pytest

from firings.facts import firing_aborted, firing_closed


@pytest.fixture
def nobody_listens(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """What billing makes of a closed firing is billing's to test."""
    for fact in (firing_closed, firing_aborted):
        monkeypatch.setattr(fact, "receivers", [])
        fact.sender_receivers_cache.clear()
    yield
    for fact in (firing_closed, firing_aborted):
        fact.sender_receivers_cache.clear()
