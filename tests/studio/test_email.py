"""Letters: what they carry, what a mail server's answers do, and the mailbox of the demo."""

from __future__ import annotations

import re
import smtplib
from datetime import timedelta
from email import message_from_bytes, policy

import pytest
import time_machine
from django.core import mail
from django.core.mail import EmailMultiAlternatives
from django.urls import reverse

from studio.actions.deliver import RETRY_AFTER, deliver_notice
from studio.actions.invitations import invite_person
from studio.channels.email.letter import write_letter
from studio.channels.email.send import is_final
from studio.models import MailboxMessage, Notice, Role, Studio
from tests.studio.made import NOW, make_manager, make_person
from tests.studio.mail_server import mail_server

pytestmark = pytest.mark.django_db

MAILBOX = "studio.channels.email.mailbox.MailboxBackend"


@pytest.fixture(autouse=True)
def the_day():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def invited():
    """The notice of an invitation, and the secret of its link."""
    _invitation, secret = invite_person(
        by=make_manager(), at=NOW, email="ina@example.org", name="Ina", roles=[Role.MEMBER]
    )
    return Notice.objects.get(), secret


@pytest.fixture
def smtp(settings):
    with mail_server() as server:
        settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
        settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", server.port
        yield server


def test_letter_has_a_link_and_says_what_happens_next(invited):
    notice, secret = invited
    letter = write_letter(notice)
    assert letter.subject == "Maren Vik invites you to Our studio"
    assert f"http://localhost:8000/join/{secret}/" in letter.text
    assert f'href="http://localhost:8000/join/{secret}/"' in letter.html
    assert "What happens next" in letter.text
    assert "<" not in letter.text


def test_outbox_holds_no_way_in(invited):
    notice, secret = invited
    assert secret not in str(Notice.objects.values().get(pk=notice.pk))


def test_names_are_escaped_in_html_and_plain_in_text(invited):
    notice, _secret = invited
    notice.facts["invited_by"] = "Ann & <b>Bo</b>"
    letter = write_letter(notice)
    assert "Ann &amp; &lt;b&gt;Bo&lt;/b&gt;" in letter.html
    assert "Ann & <b>Bo</b>" in letter.text


def test_message_carries_the_headers_of_a_machine(invited):
    """RFC 3834, 5: Auto-Submitted. RFC 5322, 3.6.4: the Message-ID fixed beforehand."""
    notice, _secret = invited
    deliver_notice(pk=notice.pk, at=NOW)
    [message] = mail.outbox
    sent = message_from_bytes(message.message().as_bytes(), policy=policy.default)
    assert sent["Auto-Submitted"] == "auto-generated"
    assert sent["Message-ID"] == notice.message_id
    assert sent["Date"].datetime == NOW
    assert sent["To"] == "ina@example.org"
    types = [part.get_content_type() for part in sent.walk()]
    assert types == ["multipart/alternative", "text/plain", "text/html"]


def test_line_break_in_a_name_makes_no_header(invited):
    notice, _secret = invited
    notice.facts["invited_by"] = "Eve\r\nBcc: all@example.org"
    notice.save()
    assert deliver_notice(pk=notice.pk, at=NOW).state == "sent"
    [message] = mail.outbox
    assert message.subject == "Eve Bcc: all@example.org invites you to Our studio"
    assert message.message()["Bcc"] is None
    assert message.recipients() == ["ina@example.org"]


def test_line_break_in_an_address_is_final(invited):
    notice, _secret = invited
    Notice.objects.update(address="ina@example.org\nBcc: all@example.org")
    assert deliver_notice(pk=notice.pk, at=NOW).state == "failed"
    assert mail.outbox == []


# --- A real SMTP server ---------------------------------------------------------------------


def test_451_is_tried_again_and_the_250_ends_it(invited, smtp):
    """RFC 5321, 4.2.1: 4yz is a transient answer, the same request may succeed later."""
    notice, _secret = invited
    smtp.data_answers = ["451 try again later"]
    waiting = deliver_notice(pk=notice.pk, at=NOW)
    assert (waiting.state, waiting.attempts) == ("waiting", 1)
    assert "451" in waiting.last_error
    assert deliver_notice(pk=notice.pk, at=NOW + RETRY_AFTER[0]).state == "sent"
    assert [message["Message-ID"] for message in smtp.received] == [notice.message_id] * 2


@pytest.mark.parametrize(
    ("script", "state"),
    [
        ({"recipient_answers": ["450 come again"]}, "waiting"),
        ({"recipient_answers": ["550 no such mailbox"]}, "failed"),
        ({"data_answers": ["554 refused"]}, "failed"),
    ],
)
def test_answer_of_the_server_decides(invited, smtp, script, state):
    """RFC 5321, 4.2.1: 4yz may heal, 5yz does not."""
    notice, _secret = invited
    for name, answers in script.items():
        setattr(smtp, name, answers)
    delivered = deliver_notice(pk=notice.pk, at=NOW)
    assert delivered.state == state
    assert next(iter(script.values())) == []
    assert delivered.last_error


def test_server_that_is_down_may_come_back(invited, settings):
    notice, _secret = invited
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    settings.EMAIL_HOST, settings.EMAIL_PORT = "127.0.0.1", 1
    assert deliver_notice(pk=notice.pk, at=NOW).state == "waiting"


def test_refused_password_of_the_studio_is_not_final():
    assert not is_final(smtplib.SMTPAuthenticationError(535, b"bad credentials"))


# --- The mailbox ----------------------------------------------------------------------------


def test_mailbox_keeps_a_letter_once(invited, settings):
    """Delivered again after a killed worker it is the same message, by its Message-ID."""
    settings.EMAIL_BACKEND = MAILBOX
    notice, secret = invited
    deliver_notice(pk=notice.pk, at=NOW)
    Notice.objects.update(state="waiting")
    deliver_notice(pk=notice.pk, at=NOW + timedelta(hours=1))
    kept = MailboxMessage.objects.get()
    assert (kept.recipient, kept.message_id) == ("ina@example.org", notice.message_id)
    assert secret in kept.text
    assert secret in kept.html


def test_mailbox_keeps_one_for_each_recipient(settings):
    settings.EMAIL_BACKEND = MAILBOX
    to = ["Ina@Example.org", "jon@example.org"]
    EmailMultiAlternatives("Hello", "Text", to=to).send()
    assert set(MailboxMessage.objects.values_list("recipient", "html")) == {
        ("ina@example.org", ""),
        ("jon@example.org", ""),
    }


def test_letter_shows_times_in_the_studios_zone(invited):
    """14 days after 09:30 UTC on 2 March 2026, in Tokyo (UTC+9, no summer time)."""
    Studio.objects.update(time_zone="Asia/Tokyo")
    assert "Mon 16 Mar 2026, 18:30" in write_letter(invited[0]).text


def test_new_password_comes_in_the_studios_letter(client):
    person = make_person(name="Kaja & Co", email="kaja@example.org")
    client.post(reverse("account_reset_password"), {"email": person.email})
    [message] = mail.outbox
    assert message.body.startswith("Hello Kaja & Co,")
    assert "Our studio\n" in message.body
    [(html, _type)] = message.alternatives
    assert "Hello Kaja &amp; Co," in html
    assert message.message()["Auto-Submitted"] == "auto-generated"
    link = re.search(r"http://\S+", message.body).group()
    assert client.get(link, follow=True).status_code == 200
    assert link in html
