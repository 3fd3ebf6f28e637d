"""Delivery: claim, ask again, send, mark; and what becomes of a worker killed in between.

The notices are invitations, the studio's own kind; `Post` stands for the mail server.
"""

from __future__ import annotations

import smtplib
from datetime import timedelta

import pytest
import time_machine

from studio.actions import deliver
from studio.actions.deliver import (
    ATTEMPTS_MAX,
    CLAIM,
    RETRY_AFTER,
    deliver_due,
    deliver_notice,
    retry_notice,
)
from studio.actions.invitations import invite_person, revoke_invitation
from studio.models import Invitation, Notice, NoticeState, Person, Role, TrailEntry
from studio.notice_kinds import NoticeKind
from studio.refusals import Denied, Refusal
from tests.studio.made import NOW, make_manager, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def the_day():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def manager() -> Person:
    return make_manager()


@pytest.fixture
def notice(manager) -> Notice:
    invite_person(by=manager, at=NOW, email="ina@example.org", name="Ina", roles=[Role.MEMBER])
    return Notice.objects.get()


@pytest.fixture
def post(monkeypatch):
    """What left, and what the mail server answers instead when told to."""

    class Post:
        def __init__(self):
            self.sent = []
            self.fault = None
            self.meanwhile = lambda: None

        def take(self, notice, address, at):
            self.meanwhile()
            if self.fault:
                raise self.fault
            self.sent.append((notice.message_id, address))

    post = Post()
    monkeypatch.setattr(deliver, "send_email", post.take)
    return post


class Killed(BaseException):
    """Stands for SIGKILL: no `except Exception` sees it and nothing is tidied up."""


def test_due_notice_is_sent_once(notice, post):
    delivered = deliver_notice(pk=notice.pk, at=NOW)
    assert (delivered.state, delivered.attempts, delivered.claimed_until) == ("sent", 1, None)
    assert deliver_notice(pk=notice.pk, at=NOW) is None
    assert post.sent == [(notice.message_id, "ina@example.org")]


def test_notice_waits_until_it_is_due(notice, post):
    Notice.objects.update(due_at=NOW + timedelta(hours=1))
    assert deliver_notice(pk=notice.pk, at=NOW) is None
    assert deliver_due(at=NOW + timedelta(hours=1)) == 1
    assert len(post.sent) == 1


def test_sweeper_alone_delivers_everything(manager, post):
    for name in ("ina", "jon", "kaja"):
        email = f"{name}@example.org"
        invite_person(by=manager, at=NOW, email=email, name=name, roles=[Role.MEMBER])
    assert deliver_due(at=NOW) == 3
    assert set(Notice.objects.values_list("state", flat=True)) == {"sent"}


def test_sweeper_stops_in_time_and_goes_on_next_time(notice, post):
    assert deliver_due(at=NOW, seconds=-1) == 0
    assert deliver_due(at=NOW) == 1


# --- Asked again before sending -------------------------------------------------------------


def test_untrue_notice_is_dropped(notice, manager, post):
    revoke_invitation(by=manager, at=NOW, invitation=Invitation.objects.get())
    dropped = deliver_notice(pk=notice.pk, at=NOW)
    assert (dropped.state, dropped.last_error) == ("dropped", "It was no longer true.")
    assert post.sent == []


def test_notice_to_a_person_who_left_is_dropped(notice, post):
    person = make_person()
    Notice.objects.update(person=person)
    Person.objects.filter(pk=person.pk).update(is_active=False)
    dropped = deliver_notice(pk=notice.pk, at=NOW)
    assert (dropped.state, dropped.last_error) == ("dropped", "The person is no longer active.")
    assert post.sent == []


@pytest.mark.parametrize(("hours", "state"), [(2, "sent"), (3, "dropped")])
def test_late_notice_is_dropped(notice, post, monkeypatch, hours, state):
    kind = NoticeKind("invited", "x", "studio", expires_after=timedelta(hours=2))
    monkeypatch.setattr(deliver, "kind_named", lambda _name: kind)
    assert deliver_notice(pk=notice.pk, at=NOW + timedelta(hours=hours)).state == state


def test_mail_follows_a_person_to_their_new_address(notice, post):
    person = make_person()
    Notice.objects.update(person=person, address="old@example.org")
    assert deliver_notice(pk=notice.pk, at=NOW).address == person.email


# --- Failures -------------------------------------------------------------------------------


def test_failure_is_tried_again_with_growing_delays_and_an_end(notice, post):
    post.fault = smtplib.SMTPServerDisconnected("gone")
    at = NOW
    for number, delay in enumerate(RETRY_AFTER, start=1):
        waiting = deliver_notice(pk=notice.pk, at=at)
        assert (waiting.state, waiting.attempts) == ("waiting", number)
        assert deliver_notice(pk=notice.pk, at=at + delay - timedelta(seconds=1)) is None
        at += delay
    failed = deliver_notice(pk=notice.pk, at=at)
    assert (failed.state, failed.last_error) == ("failed", "SMTPServerDisconnected: gone")
    assert deliver_notice(pk=notice.pk, at=at + timedelta(days=9)) is None


def test_failure_that_heals_is_sent(notice, post):
    post.fault = ConnectionRefusedError("no server")
    deliver_notice(pk=notice.pk, at=NOW)
    post.fault = None
    assert deliver_notice(pk=notice.pk, at=NOW + RETRY_AFTER[0]).state == "sent"
    assert Notice.objects.get().last_error == ""


def test_final_answer_fails_at_once(notice, post):
    post.fault = deliver.CannotBeDelivered("550 no such mailbox")
    failed = deliver_notice(pk=notice.pk, at=NOW)
    assert (failed.state, failed.last_error) == ("failed", "550 no such mailbox")


def test_manager_tries_a_failed_notice_again(notice, manager, post):
    post.fault = deliver.CannotBeDelivered("550 full")
    deliver_notice(pk=notice.pk, at=NOW)
    post.fault = None
    retried = retry_notice(notice=notice, by=manager, at=NOW)
    assert (retried.state, retried.attempts) == ("waiting", 0)
    assert deliver_notice(pk=notice.pk, at=NOW).state == "sent"
    assert TrailEntry.objects.filter(subject_kind="notice", deed="retried").count() == 1


def test_notice_that_has_not_failed_cannot_be_tried_again(notice, manager):
    with pytest.raises(Refusal, match="has not failed"):
        retry_notice(notice=notice, by=manager, at=NOW)


def test_only_a_manager_tries_again(notice):
    with pytest.raises(Denied):
        retry_notice(notice=notice, by=make_person(), at=NOW)


# --- Two workers, and killed ones -----------------------------------------------------------


def rival_delivers(notice, post):
    """While the first worker talks to the mail server, a second takes up the same notice."""

    def meanwhile():
        post.meanwhile = lambda: None
        deliver_notice(pk=notice.pk, at=NOW)

    post.meanwhile = meanwhile


def test_two_workers_send_one_letter(notice, post):
    rival_delivers(notice, post)
    deliver_notice(pk=notice.pk, at=NOW)
    assert len(post.sent) == 1


def test_without_the_claim_two_workers_send_two_letters(notice, post, monkeypatch):
    """The control: the race above is a race only because of the claim."""
    monkeypatch.setattr(deliver, "claim_notice", lambda *, pk, at: Notice.objects.get(pk=pk))
    rival_delivers(notice, post)
    deliver_notice(pk=notice.pk, at=NOW)
    assert len(post.sent) == 2


def test_worker_killed_before_sending_loses_nothing(notice, post):
    def killed():
        raise Killed

    post.meanwhile = killed
    with pytest.raises(Killed):
        deliver_notice(pk=notice.pk, at=NOW)
    post.meanwhile = lambda: None
    assert deliver_due(at=NOW + CLAIM - timedelta(seconds=1)) == 0
    assert deliver_due(at=NOW + CLAIM) == 1
    assert len(post.sent) == 1


def test_notice_that_kills_every_worker_is_given_up(notice, post):
    """A poisoned row must not take a worker every five minutes for ever."""

    def killed():
        raise Killed

    post.meanwhile = killed
    at = NOW
    for _ in range(ATTEMPTS_MAX):
        with pytest.raises(Killed):
            deliver_notice(pk=notice.pk, at=at)
        at += CLAIM
    assert deliver_notice(pk=notice.pk, at=at).state == "failed"
    assert Notice.objects.get().last_error == "Each worker that took it ended before it was sent."


def test_answer_that_is_no_text_is_kept_without_its_nul(notice, post):
    post.fault = OSError("greeting \0 broken")
    assert deliver_notice(pk=notice.pk, at=NOW).last_error == "OSError: greeting  broken"


def test_worker_killed_after_sending_sends_the_same_message_again(notice, post, monkeypatch):
    """The one window in which a letter leaves twice: with one Message-ID (RFC 5322, 3.6.4)."""

    def killed(*_, **__):
        raise Killed

    with monkeypatch.context() as patch:
        patch.setattr(deliver, "_mark", killed)
        with pytest.raises(Killed):
            deliver_notice(pk=notice.pk, at=NOW)
    deliver_due(at=NOW + CLAIM)
    assert post.sent == [(notice.message_id, "ina@example.org")] * 2
    assert Notice.objects.get().state == "sent"


def test_slow_worker_does_not_overwrite_what_another_wrote(notice, post):
    """Its claim has lapsed, another has sent the letter, and only then does it fail."""

    def meanwhile():
        post.meanwhile = lambda: None
        deliver_notice(pk=notice.pk, at=NOW + CLAIM)
        post.fault = OSError("timed out")

    post.meanwhile = meanwhile
    deliver_notice(pk=notice.pk, at=NOW)
    assert Notice.objects.get().state == NoticeState.SENT
