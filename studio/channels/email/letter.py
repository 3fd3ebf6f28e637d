"""The words of a notice as an e-mail: subject, plain text and HTML."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Any

from django.conf import settings
from django.template import Context, Engine

from studio.models import Notice, Studio
from studio.notice_kinds import kind_named
from studio.pages.context import units_for

# the tags that show a moment write it for pages
TIME_MARKUP = re.compile(r"</?time[^>]*>")
EMPTY_LINES = re.compile(r"\n\s*\n\s*\n+")


@dataclass(frozen=True)
class Letter:
    subject: str
    text: str
    html: str


def context_of(notice: Notice) -> dict[str, Any]:
    """What every template of a notice may use; quantities and times show as on pages."""
    studio = Studio.current()
    return {
        "studio": studio,
        "person": notice.person,
        "units": units_for(studio, notice.person),
        "facts": notice.facts,
        "site": settings.PUBLIC_URL,
        **kind_named(notice.kind).context(notice),
    }


def write_letter(notice: Notice) -> Letter:
    """Render the three templates of the notice's kind."""
    kind = kind_named(notice.kind)
    context = context_of(notice)
    text = _plain(kind.template("body.txt"), context)
    return Letter(
        # one line whatever a name contains: a line break in a header would begin another header
        subject=" ".join(_plain(kind.template("subject.txt"), context).split()),
        text=EMPTY_LINES.sub("\n\n", text).strip() + "\n",
        html=_render(kind.template("body.html"), context, is_html=True),
    )


def _plain(template: str, context: dict[str, Any]) -> str:
    return TIME_MARKUP.sub("", _render(template, context, is_html=False))


def _render(template: str, context: dict[str, Any], *, is_html: bool) -> str:
    found = Engine.get_default().get_template(template)
    return str(found.render(Context(context, autoescape=is_html)))
