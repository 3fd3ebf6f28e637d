"""Pages for what went wrong before or outside a view."""

from __future__ import annotations

from django.core.exceptions import RequestDataTooBig
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render


def bad_request(request: HttpRequest, exception: Exception) -> HttpResponse:
    """400, or 413 when what was sent is larger than the studio takes."""
    if isinstance(exception, RequestDataTooBig):
        return render(request, "413.html", status=413)
    return render(request, "400.html", status=400)
