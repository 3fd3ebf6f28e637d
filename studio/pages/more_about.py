"""More about a record: panels that apps further up add to a page of an app further down.

A booking's page belongs to `firings`, which knows nothing of money; `billing` registers what
stands there about its cost.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from typing import Any

from django.db import models
from django.http import HttpRequest

from studio.pages.home import Panel

MoreMaker = Callable[[HttpRequest, Any], Panel | None]

_makers: dict[str, list[MoreMaker]] = defaultdict(list)


def register_more(kind: str, maker: MoreMaker) -> None:
    """Add a panel to the page of each record of `kind`, a model's name such as "booking".

    `maker` gets the request and the record; it answers None where it has nothing to say to this
    person.
    """
    if maker not in _makers[kind]:
        _makers[kind].append(maker)


def more_about(request: HttpRequest, record: models.Model) -> list[Panel]:
    """The panels for the page of `record`, in their order."""
    makers = _makers[record._meta.model_name or ""]
    panels = [panel for maker in makers if (panel := maker(request, record)) is not None]
    return sorted(panels, key=lambda panel: panel.order)
