"""A real worker process, the real broker and a real SMTP server."""

from __future__ import annotations

import os
import signal
from datetime import timedelta

import pytest
from django.utils import timezone

from studio.actions.deliver import CLAIM, deliver_due
from studio.actions.invitations import invite_person
from studio.celery import app
from studio.models import MailboxMessage, Notice, Person, Role
from tests.conftest import start_worker
from tests.studio.made import make_manager
from tests.studio.mail_server import mail_server
from tests.waiting import until

pytestmark = pytest.mark.django_db(transaction=True)


def invite(manager: Person) -> Notice:
    at, roles = timezone.now(), [Role.MEMBER]
    invite_person(by=manager, at=at, email="jon@example.org", name="Jon", roles=roles)
    return Notice.objects.get()


def test_worker_delivers_what_a_deed_wrote(celery_worker_process):
    """The nudge crosses the broker; the letter lies in the mailbox before any sweep."""
    notice = invite(make_manager())
    until(lambda: Notice.objects.get().state == "sent")
    assert MailboxMessage.objects.get().message_id == notice.message_id


def test_worker_killed_while_sending_loses_nothing(worker_environment, broker_line, settings):
    """SIGKILL when the server has the letter and the row is not marked: the one bad moment."""
    broker_line.delete("celery")
    with mail_server() as server:
        server.holds_data = True
        worker = start_worker(
            {**worker_environment, "EMAIL_URL": f"smtp://127.0.0.1:{server.port}"}
        )
        try:
            until(lambda: app.control.ping(timeout=0.2), within_s=30)
            notice = invite(make_manager())
            until(lambda: len(server.received) == 1)
        finally:
            os.killpg(worker.pid, signal.SIGKILL)
            worker.wait()
            app.close()
        server.holds_data = False
        left = Notice.objects.get()
        assert (left.state, left.attempts) == ("waiting", 1)
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", server.port
        assert deliver_due(at=timezone.now()) == 0
        assert deliver_due(at=timezone.now() + CLAIM + timedelta(seconds=1)) == 1
    assert Notice.objects.get().state == "sent"
    assert [one["Message-ID"] for one in server.received] == [notice.message_id] * 2
