"""The JSON a request sends."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rest_framework.exceptions import ParseError
from rest_framework.parsers import JSONParser


class JsonBodyParser(JSONParser):
    """Answers 400 also to brackets nested so deeply that Python gives up reading them."""

    def parse(
        self,
        stream: Any,
        media_type: str | None = None,
        parser_context: Mapping[str, Any] | None = None,
    ) -> Any:
        try:
            return super().parse(stream, media_type, parser_context)
        except RecursionError as fault:
            raise ParseError("JSON parse error - nested too deeply.") from fault
