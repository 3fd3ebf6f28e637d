"""Set a document as an accessible PDF (PDF/UA-1) from a layout and its words.

The same words give the same bytes: no clock, no settings, and no fonts of the machine unless a
name needs them.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from datetime import datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import typst


def typeset(layout: Path, name: str, page: Mapping[str, Any], *, at: datetime) -> bytes:
    """The PDF of `layout`, which reads `page` as JSON from its input `name`; dated `at`."""
    words = {name: json.dumps(page, ensure_ascii=False)}
    try:
        return _compiled(layout, words, at)
    except typst.TypstError:
        # Some name is in a script that the fonts we carry do not know.
        pass
    try:
        return _compiled(layout, words, at, with_system_fonts=True)
    except typst.TypstError:
        # Nor do the machine's. The standard forbids boxes in place of letters; a document with
        # some is still better than none.
        return _compiled(layout, words, at, with_system_fonts=True, pdf_standards=())


def _compiled(
    layout: Path,
    words: dict[str, str],
    at: datetime,
    *,
    with_system_fonts: bool = False,
    pdf_standards: Sequence[str] = ("ua-1",),
) -> bytes:
    document: bytes = typst.compile(
        str(layout),
        format="pdf",
        font_paths=_fonts(with_system_fonts),
        pdf_standards=list(pdf_standards),
        sys_inputs=words,
        timestamp=int(at.timestamp()),
    )
    return document


@lru_cache
def _fonts(with_system_fonts: bool) -> typst.Fonts:
    """Found once: looking for them costs a quarter of a document, or more."""
    return typst.Fonts(include_system_fonts=with_system_fonts)
