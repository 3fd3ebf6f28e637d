"""Gives each request a mark; log lines and the answer carry it, so both can be matched."""

import re
import uuid
from collections.abc import Callable

import structlog
from django.http import HttpRequest, HttpResponse

HEADER = "X-Request-ID"
_USABLE = re.compile(r"[A-Za-z0-9._-]{8,64}")


class RequestMarkMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        sent = request.headers.get(HEADER, "")
        mark = sent if _USABLE.fullmatch(sent) else uuid.uuid4().hex
        with structlog.contextvars.bound_contextvars(request=mark):
            response = self.get_response(request)
        response[HEADER] = mark
        return response
