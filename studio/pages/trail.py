"""The trail, for managers: who did what, when and why."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render

from studio.models import Role, TrailEntry
from studio.pages.access import needs
from studio.pages.subjects import subjects_of, words_of_kind

ROWS = 50


@needs(Role.MANAGER)
def trail(request: HttpRequest) -> HttpResponse:
    kind = request.GET.get("kind", "").strip()[:40]
    words = request.GET.get("q", "").strip()[:100]
    found = TrailEntry.objects.select_related("by").order_by("-at", "-pk")
    if kind:
        found = found.filter(subject_kind=kind)
    if words:
        found = found.filter(by__name__icontains=words)
    kinds = TrailEntry.objects.order_by("subject_kind").values_list("subject_kind", flat=True)
    page = Paginator(found, ROWS).get_page(request.GET.get("page"))
    context = {
        "page": page,
        "rows": subjects_of(page),
        "kind": kind,
        "kinds": [(one, words_of_kind(one)) for one in kinds.distinct()],
        "words": words,
    }
    return render(request, "studio/trail.html", context)
