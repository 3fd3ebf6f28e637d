"""Tells browsers and proxies to keep nothing of what the studio answers.

A kiln room's tablet passes from hand to hand: after signing out, the button Back must not show
the last person's statement (OWASP ASVS 5.0.0, 14.3.2). Static files are answered before.
"""

from collections.abc import Callable

from django.http import HttpRequest, HttpResponse

CACHE_CONTROL = "Cache-Control"


class NotKeptMiddleware:
    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        response = self.get_response(request)
        if CACHE_CONTROL not in response:
            response[CACHE_CONTROL] = "private, no-store"
        return response
