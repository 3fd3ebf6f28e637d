"""Turns a refusal that no form caught into a message on the page, or into a page of its own."""

from __future__ import annotations

from collections.abc import Callable
from urllib.parse import urlsplit

from django.contrib import messages
from django.http import HttpRequest, HttpResponse, HttpResponseRedirect
from django.shortcuts import render
from django.utils.http import url_has_allowed_host_and_scheme

from studio.refusals import Refusal


class RefusalMiddleware:
    """Middleware: a refused button goes back to its page with the reason on it."""

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponse]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponse:
        return self.get_response(request)

    def process_exception(self, request: HttpRequest, fault: Exception) -> HttpResponse | None:
        if not isinstance(fault, Refusal):
            return None
        back = _page_they_came_from(request)
        if request.method != "POST" or back is None:
            context = {"refusal": fault, "back": back}
            return render(request, "studio/errors/refused.html", context, status=fault.status)
        messages.error(request, fault.message)
        if request.headers.get("HX-Request"):
            # htmx ignores the body of an error; this makes it load the page with the message.
            return HttpResponse(status=fault.status, headers={"HX-Redirect": back})
        answer = HttpResponseRedirect(back)
        answer.status_code = 303
        return answer


def _page_they_came_from(request: HttpRequest) -> str | None:
    """The path of the referring page, if it is one of ours and not this very address."""
    referer = request.headers.get("Referer", "")
    if not url_has_allowed_host_and_scheme(referer, allowed_hosts={request.get_host()}):
        return None
    parts = urlsplit(referer)
    if not parts.netloc or parts.path == request.path:
        return None
    # Two slashes at the beginning would name another host.
    path = f"/{parts.path.lstrip('/')}"
    return f"{path}?{parts.query}" if parts.query else path
