"""The menu: one table, filled by each app when it is ready."""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

from django.urls import reverse

SECTIONS = ("", "Kilns", "Studio", "Books")


@dataclass(frozen=True)
class NavEntry:
    """One line of the menu. No roles: everybody who is signed in sees it.

    `quick` puts it into the short bar of a phone as well: at most four for each role.
    """

    label: str
    url_name: str
    roles: Collection[str] = frozenset()
    section: str = ""
    order: int = 50
    quick: bool = False


@dataclass(frozen=True)
class MenuLine:
    label: str
    url: str
    is_here: bool
    is_quick: bool


@dataclass(frozen=True)
class MenuSection:
    title: str
    lines: tuple[MenuLine, ...]


_entries: dict[str, NavEntry] = {}


def register_nav(entry: NavEntry) -> None:
    """Add a line to the menu; the same page registered again replaces its line."""
    if entry.section not in SECTIONS:
        raise ValueError(f"section is {entry.section!r}: one of {SECTIONS}")
    _entries[entry.url_name] = entry


def nav_entries() -> tuple[NavEntry, ...]:
    """Every registered line, in the order of the menu."""
    return tuple(
        sorted(
            _entries.values(),
            key=lambda entry: (SECTIONS.index(entry.section), entry.order, entry.label),
        )
    )


def menu_for(path: str, roles: Collection[str]) -> tuple[MenuSection, ...]:
    """The menu that a person with `roles` sees on the page at `path`."""
    seen = [entry for entry in nav_entries() if not entry.roles or set(entry.roles) & set(roles)]
    urls = {entry.url_name: reverse(entry.url_name) for entry in seen}
    here = _nearest(path, urls.values())
    return tuple(
        MenuSection(title, lines)
        for title in SECTIONS
        if (
            lines := tuple(
                MenuLine(e.label, urls[e.url_name], urls[e.url_name] == here, e.quick)
                for e in seen
                if e.section == title
            )
        )
    )


def _nearest(path: str, urls: Collection[str]) -> str | None:
    """The longest address of the menu that `path` lies under; the home page only by itself."""
    under = [url for url in urls if path == url or (url != "/" and path.startswith(url))]
    return max(under, key=len, default=None)
