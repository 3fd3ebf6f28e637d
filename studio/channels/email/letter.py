"""The words of a notice as an e-mail: subject, plain text and HTML."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.template.loader import render_to_string

from studio.models import Notice, Studio
from studio.notice_kinds import kind_named


@dataclass(frozen=True)
class Letter:
    subject: str
    text: str
    html: str


def context_of(notice: Notice) -> dict[str, Any]:
    """What every template of a notice may use."""
    return {
        "studio": Studio.current(),
        "person": notice.person,
        "facts": notice.facts,
        "site": settings.PUBLIC_URL,
        **kind_named(notice.kind).context(notice),
    }


def write_letter(notice: Notice) -> Letter:
    """Render the three templates of the notice's kind."""
    kind = kind_named(notice.kind)
    context = context_of(notice)
    return Letter(
        # one line whatever a name contains: a line break in a header would begin another header
        subject=" ".join(render_to_string(kind.template("subject.txt"), context).split()),
        text=render_to_string(kind.template("body.txt"), context).strip() + "\n",
        html=render_to_string(kind.template("body.html"), context),
    )
