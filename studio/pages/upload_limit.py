"""Refuses a request that says it is too big, before a byte of it is read."""

import re
from collections.abc import Callable

from django.conf import settings
from django.http import HttpRequest, HttpResponse, JsonResponse
from django.template.loader import render_to_string


class UploadLimitMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        limit = _limit_bytes(request.path)
        if _announced_bytes(request) > limit:
            return _too_big(request, limit)
        return self.get_response(request)


def _limit_bytes(path: str) -> int:
    """A few addresses take longer files, which they read as they come."""
    longer = (
        most for form, most in settings.UPLOAD_BYTES_MAX_AT.items() if re.fullmatch(form, path)
    )
    return next(longer, settings.UPLOAD_BYTES_MAX)


def _announced_bytes(request: HttpRequest) -> int:
    length = request.META.get("CONTENT_LENGTH") or "0"
    return int(length) if length.isascii() and length.isdigit() else 0


def _too_big(request: HttpRequest, limit: int) -> HttpResponse:
    limit_mb = limit // (1024 * 1024)
    message = (
        f"This upload is larger than {limit_mb} MB. Split the file, or send a shorter part of it."
    )
    if request.path.startswith("/api/"):
        return JsonResponse(
            {"code": "upload_too_big", "message": message, "fields": {}}, status=413
        )
    page = render_to_string("studio/upload_too_big.html", {"message": message})
    return HttpResponse(page, status=413)
