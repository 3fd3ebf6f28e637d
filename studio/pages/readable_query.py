"""Refuses an address that holds the sign NUL: no text of ours does, and PostgreSQL takes none,
so a search for it would end in a fault instead of an answer."""

from collections.abc import Callable

from django.core.exceptions import BadRequest
from django.http import HttpRequest, HttpResponse, JsonResponse

MESSAGE = "The address holds a sign that is no character. Take %00 out of it."


class ReadableQueryMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        if "%00" not in request.META.get("QUERY_STRING", "") and "\0" not in request.path_info:
            return self.get_response(request)
        if request.path_info.startswith("/api/"):
            return JsonResponse(
                {"code": "address_unreadable", "message": MESSAGE, "fields": {}, "facts": {}},
                status=400,
            )
        raise BadRequest(MESSAGE)
