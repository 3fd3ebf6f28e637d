"""Deeds in the order of their moments: what lies after the end is left undone."""

from __future__ import annotations

import heapq
from collections.abc import Callable
from datetime import datetime
from itertools import count

Deed = Callable[[datetime], None]


class Timeline:
    """A list of deeds to come; a deed may plan further ones."""

    def __init__(self) -> None:
        self._waiting: list[tuple[datetime, int, Deed]] = []
        self._numbers = count()

    def plan(self, at: datetime, deed: Deed) -> None:
        """Of two deeds at one moment, the one planned first is done first."""
        heapq.heappush(self._waiting, (at, next(self._numbers), deed))

    def run_until(self, end_at: datetime, after_each: Deed) -> None:
        """Do what is due up to `end_at`; `after_each` is called with the moment of each deed."""
        while self._waiting and self._waiting[0][0] <= end_at:
            at, _, deed = heapq.heappop(self._waiting)
            deed(at)
            after_each(at)
