"""Writing to the outbox: once for each key, with the deed or not at all."""

from __future__ import annotations

import re

import pytest
from django.conf import settings
from django.db import transaction
from django.utils import timezone
from kombu import Connection
from kombu.exceptions import OperationalError

from studio import tasks
from studio.actions.outbox import message_id_for, without_nudges, write_notice
from studio.models import Notice
from studio.refusals import Refusal
from tests.studio.made import NOW, make_person

FACTS = {"invitation": 1, "name": "Ina", "invited_by": "Maren"}


def write(key="invited:1", **changes):
    notice = {"kind": "invited", "at": NOW, "address": "ina@example.org", "facts": FACTS}
    return write_notice(key=key, **{**notice, **changes})


@pytest.mark.django_db
def test_notice_is_written_with_its_message_id():
    notice = write()
    assert (notice.state, notice.address, notice.due_at) == ("waiting", "ina@example.org", NOW)
    # RFC 5322, 3.6.4: "<" id-left "@" id-right ">"
    assert re.fullmatch(r"<[0-9a-f]{40}@localhost>", notice.message_id)
    assert notice.message_id == message_id_for("invited:1")
    assert message_id_for("invited:1") != message_id_for("invited:2")


@pytest.mark.django_db
def test_second_notice_with_a_key_is_the_first():
    first = write()
    second = write(address="somebody.else@example.org")
    assert second == first
    assert Notice.objects.get().address == "ina@example.org"


@pytest.mark.django_db
def test_person_gets_it_at_their_address():
    person = make_person()
    assert write(person=person, address="").address == person.email


@pytest.mark.django_db
def test_inactive_person_is_told_nothing():
    person = make_person()
    person.is_active = False
    assert write(person=person) is None
    assert not Notice.objects.exists()


@pytest.mark.django_db
def test_notice_for_nobody_is_a_mistake():
    with pytest.raises(ValueError, match="neither a person nor an address"):
        write(address="")


@pytest.mark.django_db
def test_unknown_kind_is_a_mistake():
    with pytest.raises(LookupError, match="no kind of notice is called 'rumour'"):
        write(kind="rumour")


@pytest.mark.django_db(transaction=True)
def test_notice_outside_a_transaction_is_a_mistake():
    with pytest.raises(transaction.TransactionManagementError, match="inside the transaction"):
        write()


@pytest.mark.django_db(transaction=True)
def test_notice_of_a_refused_deed_is_not_written():
    def refused_deed():
        with transaction.atomic():
            write()
            raise Refusal("no", "No.")

    with pytest.raises(Refusal):
        refused_deed()
    assert not Notice.objects.exists()


@pytest.fixture
def nudged(monkeypatch):
    seen = []
    monkeypatch.setattr(
        tasks.deliver_notice, "apply_async", lambda arguments, **_: seen.append(*arguments)
    )
    return seen


@pytest.mark.django_db
def test_nudge_leaves_after_the_commit(nudged, django_capture_on_commit_callbacks):
    with django_capture_on_commit_callbacks(execute=True):
        notice = write()
        assert nudged == []
    assert nudged == [notice.pk]


@pytest.mark.django_db
@pytest.mark.parametrize("days", [0, 3])
def test_nudge_is_left_out_when_not_wanted(nudged, django_capture_on_commit_callbacks, days):
    """Nor for a notice that is due later."""
    with django_capture_on_commit_callbacks(execute=True):
        if days:
            write(due_at=timezone.now() + timezone.timedelta(days=days))
        else:
            with without_nudges():
                write()
    assert nudged == []


def test_broker_that_is_down_is_not_waited_for(monkeypatch, tmp_path):
    """A deed may write thirty notices: it must not wait two seconds for each."""

    def sleep(_seconds):
        raise AssertionError("it waits")

    monkeypatch.setattr("kombu.utils.functional.sleep", sleep)
    nobody = f"redis+socket://{tmp_path}/nobody.sock"
    line = Connection(nobody, transport_options=settings.CELERY_BROKER_TRANSPORT_OPTIONS)
    with pytest.raises(OperationalError):
        line.default_channel  # noqa: B018  # connects


@pytest.mark.django_db
def test_broker_that_is_down_does_not_stop_the_deed(
    monkeypatch, caplog, django_capture_on_commit_callbacks
):
    def refuse(*_, **__):
        raise OperationalError("connection refused")

    monkeypatch.setattr(tasks.deliver_notice, "apply_async", refuse)
    with django_capture_on_commit_callbacks(execute=True):
        notice = write()
    assert f"notice {notice.pk} waits for the sweeper" in caplog.text
    assert Notice.objects.get().state == "waiting"
