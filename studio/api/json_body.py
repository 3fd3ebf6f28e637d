"""The JSON a request sends."""

from __future__ import annotations

import json
from collections.abc import Mapping
from io import BytesIO
from typing import Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser


class JsonBodyParser(JSONParser):
    """Answers 400 also to JSON that is well-formed and that no database could keep.

    Brackets nested so deeply that Python gives up reading them, numbers beyond every number
    (1e400), and texts that are none: the sign NUL and halves of UTF-16 pairs (RFC 8259, 8.2).
    """

    def parse(
        self,
        stream: Any,
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        body = stream.read()
        try:
            sent = super().parse(BytesIO(body), media_type, parser_context)
            if is_plain(body):
                return sent
            # Written out again, whatever hides in a key or deep inside shows.
            text = json.dumps(sent, ensure_ascii=False, allow_nan=False)
        except RecursionError as fault:
            raise ParseError("JSON parse error - nested too deeply.") from fault
        except ValueError as fault:
            raise ParseError("JSON parse error - a number is out of range.") from fault
        # json.dumps writes NUL as an escape; a backslash that was typed is doubled.
        if "\\u0000" in text.replace("\\\\", "") or not _is_text(text):
            raise ParseError("JSON parse error - a text holds what is no character.")
        return sent


def is_plain(body: bytes) -> bool:
    """Whether nothing can hide in a body that could be read: no escapes, no number beyond all.

    Ten thousand readings need not be written out again to know that.
    """
    if b"\\" in body:
        return False
    shape = body.translate(_DIGITS_AS_0)
    return not any(sign in shape for sign in _MAY_BE_BEYOND)


_DIGITS_AS_0 = bytes.maketrans(b"123456789", b"0" * 9)
# 1e308 is the last power of ten that is a number here; so are 308 digits.
_MAY_BE_BEYOND = (b"e000", b"E000", b"e+000", b"E+000", b"0" * 300)


def _is_text(text: str) -> bool:
    try:
        text.encode()
    except UnicodeEncodeError:
        return False
    return True
