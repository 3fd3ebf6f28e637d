"""The kinds of notice there are. Each app registers its own in its AppConfig.ready().

A kind has three small templates in the app that announces it:
`<app>/notices/<kind>/subject.txt`, `body.txt` and `body.html`; the bodies extend
`studio/notices/letter.txt` and `studio/notices/letter.html`. They are given `studio`, `person`
(None when the reader has no sign-in yet), `facts`, `site` (the address links begin with, without
a slash at the end) and what the kind's own `context` adds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import timedelta
from typing import Any

from studio.models import Notice


def always(_notice: Notice) -> bool:
    return True


def nothing_more(_notice: Notice) -> Mapping[str, Any]:
    return {}


@dataclass(frozen=True)
class NoticeKind:
    """What a kind of notice is called, where its words are and when it is still worth sending.

    name                 short, stable: `ready`
    label                for the manager's list: `Pieces are ready`
    app_template_prefix  the app whose templates hold its words: `firings`
    expires_after        counted from `due_at`; later than that it is dropped, not sent
    still_true           asked right before sending; False drops the notice
    context              more for the templates, read right before sending
    """

    name: str
    label: str
    app_template_prefix: str
    expires_after: timedelta | None = None
    still_true: Callable[[Notice], bool] = always
    context: Callable[[Notice], Mapping[str, Any]] = nothing_more

    def template(self, part: str) -> str:
        return f"{self.app_template_prefix}/notices/{self.name}/{part}"


_KINDS: dict[str, NoticeKind] = {}


def register_kind(kind: NoticeKind) -> None:
    """Make a kind known; the same name twice is a mistake of the programmer."""
    if _KINDS.get(kind.name, kind) != kind:
        raise ValueError(f"kind {kind.name!r} is registered already")
    _KINDS[kind.name] = kind


def kind_named(name: str) -> NoticeKind:
    """The kind of this name; raises LookupError when no app has registered it."""
    if name not in _KINDS:
        raise LookupError(f"no kind of notice is called {name!r}; known: {sorted(_KINDS)}")
    return _KINDS[name]


def label_of(name: str) -> str:
    """The label of a kind; its name where no app announces it any more."""
    return _KINDS[name].label if name in _KINDS else name
