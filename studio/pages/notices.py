"""The outbox, for managers: what was sent, what waits, what could not be delivered."""

from __future__ import annotations

from django.core.paginator import Paginator
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.utils import timezone
from django.views.decorators.http import require_POST

from studio.actions.deliver import retry_notice
from studio.models import Notice, NoticeState, Role
from studio.notice_kinds import label_of
from studio.pages.access import needs
from studio.pages.answers import answer_deed
from studio.pages.home import Panel

ROWS = 50


@needs(Role.MANAGER)
def notices(request: HttpRequest) -> HttpResponse:
    state = request.GET.get("state", "")
    found = Notice.objects.select_related("person")
    if state in NoticeState.values:
        found = found.filter(state=state)
    page = Paginator(found, ROWS).get_page(request.GET.get("page"))
    rows = [(notice, label_of(notice.kind)) for notice in page]
    context = {"page": page, "rows": rows, "state": state, "states": NoticeState.choices}
    return render(request, "studio/notices.html", context)


@needs(Role.MANAGER)
@require_POST
def retry(request: HttpRequest, pk: int) -> HttpResponse:
    notice = get_object_or_404(Notice, pk=pk)
    return answer_deed(
        request,
        lambda: retry_notice(notice=notice, by=request.user, at=timezone.now()),
        done=f"The notice to {notice.address} is tried again.",
        then="studio:notices",
    )


def failed_notices_panel(request: HttpRequest) -> Panel | None:
    """On a manager's home page, while anything could not be delivered."""
    if not request.user.has_role(Role.MANAGER):
        return None
    failed = Notice.objects.filter(state=NoticeState.FAILED).count()
    return Panel("studio/panels/failed_notices.html", {"failed": failed}, 200) if failed else None
