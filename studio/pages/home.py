"""The signed-in home page, put together from the panels that the apps register."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from studio.pages.access import signed_in


@dataclass(frozen=True)
class Panel:
    """A part of the home page: its template, what it shows, and where it stands.

    Below 100 is what concerns the person as a member; crew begin at 100, managers at 200,
    the treasurer at 300.
    """

    template: str
    context: dict[str, Any] = field(default_factory=dict)
    order: int = 50


PanelMaker = Callable[[HttpRequest], Panel | None]

_makers: list[PanelMaker] = []


def register_panel(maker: PanelMaker) -> None:
    """Add a panel; `maker` answers None for people it is not meant for."""
    if maker not in _makers:
        _makers.append(maker)


@signed_in
def home(request: HttpRequest) -> HttpResponse:
    """The first page after signing in."""
    panels = [panel for maker in _makers if (panel := maker(request)) is not None]
    panels.sort(key=lambda panel: panel.order)
    return render(request, "studio/home.html", {"panels": panels})
