"""What the tests of firings stand on, whatever room they are in."""

from collections.abc import Iterator

import pytest

from firings.facts import firing_aborted, firing_closed, part_replaced

FACTS = (firing_closed, firing_aborted, part_replaced)


@pytest.fixture
def nobody_listens(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """What billing makes of the facts of firings is billing's to test."""
    for fact in FACTS:
        monkeypatch.setattr(fact, "receivers", [])
        fact.sender_receivers_cache.clear()
    yield
    for fact in FACTS:
        fact.sender_receivers_cache.clear()
