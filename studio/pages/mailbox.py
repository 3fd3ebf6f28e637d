"""Mail kept inside the studio, where no mail server is set up."""

from __future__ import annotations

from django.conf import settings
from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render

from studio.models import MailboxMessage, Person, Role
from studio.pages.access import signed_in

ROWS = 50
MAILBOX = "studio.channels.email.mailbox.MailboxBackend"


def _seen_by(person: Person) -> QuerySet[MailboxMessage]:
    """One's own mail; in the demo, the manager reads everybody's.

    Only in the demo: among real people a manager could read a link to somebody's new password.
    """
    if settings.IS_DEMO and person.has_role(Role.MANAGER):
        return MailboxMessage.objects.all()
    return MailboxMessage.objects.filter(recipient__iexact=person.email)


@signed_in
def mailbox(request: HttpRequest) -> HttpResponse:
    recipient = request.GET.get("to", "").strip()[:254]
    found = _seen_by(request.user)
    if recipient:
        found = found.filter(recipient__icontains=recipient)
    context = {
        "page": Paginator(found.defer("text", "html"), ROWS).get_page(request.GET.get("page")),
        "recipient": recipient,
        "is_mailbox": settings.EMAIL_BACKEND == MAILBOX,
        "reads_all": settings.IS_DEMO and request.user.has_role(Role.MANAGER),
    }
    return render(request, "studio/mailbox.html", context)


@signed_in
def mail(request: HttpRequest, pk: int) -> HttpResponse:
    message = get_object_or_404(_seen_by(request.user), pk=pk)
    return render(request, "studio/mail.html", {"message": message})
