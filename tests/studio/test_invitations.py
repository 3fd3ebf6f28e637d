"""Joining: invited by a manager, through a link that works once and expires."""

from __future__ import annotations

import threading
from datetime import timedelta

import pytest
import time_machine
from django.db import connection

from studio.actions.invitations import (
    accept_invitation,
    invite_person,
    open_invitation,
    revoke_invitation,
)
from studio.actions.tokens import digest_of
from studio.models import Account, Invitation, Notice, Person, Role, Studio, TrailEntry
from studio.refusals import Denied, Refusal
from tests.studio.made import NOW, make_account, make_manager, make_person

pytestmark = pytest.mark.django_db

PASSWORD = "glaze-drips-14"


@pytest.fixture(autouse=True)
def the_day():
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def manager() -> Person:
    return make_manager()


def invite(manager, **changes):
    wanted = {"email": "Ina@Example.org ", "name": "Ina  Holm", "roles": [Role.MEMBER, Role.CREW]}
    return invite_person(by=manager, at=NOW, **{**wanted, **changes})


def accept(secret, **changes):
    return accept_invitation(
        **{"secret": secret, "at": NOW, "name": "Ina Holm", "password": PASSWORD, **changes}
    )


def refusal_of(call, *args, **kwargs):
    with pytest.raises(Refusal) as caught:
        call(*args, **kwargs)
    return caught.value.code


# --- Inviting -------------------------------------------------------------------------------


def test_invitation_keeps_the_digest_only(manager):
    invitation, secret = invite(manager)
    assert (invitation.email, invitation.name) == ("ina@example.org", "Ina Holm")
    assert invitation.roles == ["member", "crew"]
    assert invitation.expires_at == NOW + timedelta(days=14)
    assert invitation.secret_digest == digest_of(secret)
    assert open_invitation(secret=secret, at=NOW) == invitation


def test_invitation_writes_a_notice_and_a_deed(manager):
    invitation, _secret = invite(manager)
    notice = Notice.objects.get()
    assert (notice.kind, notice.address) == ("invited", "ina@example.org")
    entry = TrailEntry.objects.get(subject_kind="invitation")
    assert (entry.subject_id, entry.deed, entry.by) == (invitation.pk, "invited", manager)


def test_days_of_an_invitation_are_a_setting(manager):
    Studio.current()
    Studio.objects.update(invitation_days=3)
    invitation, _secret = invite(manager)
    assert invitation.expires_at == NOW + timedelta(days=3)


@pytest.mark.parametrize(
    ("changes", "code", "field"),
    [
        ({"email": "nobody"}, "email_unusable", "email"),
        ({"email": "a@b\nBcc: c@d.org"}, "email_unusable", "email"),
        ({"name": "  "}, "name_unusable", "name"),
        ({"name": "x" * 121}, "name_unusable", "name"),
        ({"roles": []}, "roles_unusable", "roles"),
        ({"roles": ["owner"]}, "roles_unusable", "roles"),
    ],
)
def test_unusable_invitation_is_refused(manager, changes, code, field):
    with pytest.raises(Refusal) as caught:
        invite(manager, **changes)
    assert (caught.value.code, caught.value.field) == (code, field)
    assert (Invitation.objects.count(), Notice.objects.count()) == (0, 0)


def test_only_a_manager_invites():
    for role in (Role.MEMBER, Role.CREW, Role.TREASURER):
        with pytest.raises(Denied):
            invite(make_person(role))
    assert not Invitation.objects.exists()


def test_who_is_here_is_not_invited(manager):
    make_person(email="ina@example.org")
    assert refusal_of(invite, manager) == "email_taken"


def test_second_open_invitation_is_refused(manager):
    invite(manager)
    assert refusal_of(invite, manager, email="INA@example.org") == "invitation_open"


def test_expired_invitation_makes_way_for_a_new_one(manager):
    old, old_secret = invite(manager)
    later = NOW + timedelta(days=15)
    invite_person(by=manager, at=later, email="ina@example.org", name="Ina", roles=[Role.MEMBER])
    old.refresh_from_db()
    assert old.state(later) == "revoked"
    assert refusal_of(open_invitation, secret=old_secret, at=later) == "invitation_revoked"


def test_closed_account_is_refused(manager):
    account = make_account()
    Account.objects.update(closed_at=NOW)
    assert refusal_of(invite, manager, account=account) == "account_closed"


def test_revoked_link_stops_working(manager):
    invitation, secret = invite(manager)
    revoke_invitation(by=manager, at=NOW, invitation=invitation)
    assert refusal_of(accept, secret) == "invitation_revoked"
    assert refusal_of(revoke_invitation, by=manager, at=NOW, invitation=invitation) == (
        "invitation_revoked"
    )


def test_only_a_manager_revokes(manager):
    invitation, secret = invite(manager)
    with pytest.raises(Denied):
        revoke_invitation(by=make_person(), at=NOW, invitation=invitation)
    assert open_invitation(secret=secret, at=NOW) == invitation


# --- Accepting ------------------------------------------------------------------------------


def test_accepting_makes_a_person_with_roles_and_account(manager):
    invitation, secret = invite(manager)
    person = accept(secret)
    assert (person.email, person.roles) == ("ina@example.org", {Role.MEMBER, Role.CREW})
    assert person.check_password(PASSWORD)
    assert person.account.name == "Ina Holm"
    invitation.refresh_from_db()
    assert (invitation.accepted_at, invitation.accepted_by) == (NOW, person)


def test_account_numbers_go_on(manager):
    highest = Account.objects.latest("number").number
    first = accept(invite(manager)[1])
    second = accept(invite(manager, email="jon@example.org")[1])
    assert (first.account.number, second.account.number) == (highest + 1, highest + 2)


def test_invited_to_share_an_account(manager):
    account = make_account()
    person = accept(invite(manager, account=account)[1])
    assert person.account == account


def test_link_works_once(manager):
    _invitation, secret = invite(manager)
    accept(secret)
    assert refusal_of(accept, secret) == "invitation_accepted"
    assert Person.objects.filter(email="ina@example.org").count() == 1
    invitation = Invitation.objects.get()
    assert refusal_of(revoke_invitation, by=manager, at=NOW, invitation=invitation) == (
        "invitation_accepted"
    )


def test_link_works_until_it_expires(manager):
    invitation, secret = invite(manager)
    assert refusal_of(accept, secret, at=invitation.expires_at) == "invitation_expired"
    assert accept(secret, at=invitation.expires_at - timedelta(seconds=1)).pk


def test_made_up_link_is_refused(manager):
    invite(manager)
    with pytest.raises(Refusal) as caught:
        accept("0" * 64)
    assert (caught.value.code, caught.value.status) == ("invitation_unknown", 404)


@pytest.mark.parametrize("password", ["short", "1234567890123", "password1234", "ina@example.org"])
def test_weak_password_is_refused_and_the_link_stays(manager, password):
    _invitation, secret = invite(manager)
    with pytest.raises(Refusal) as caught:
        accept(secret, password=password)
    assert (caught.value.code, caught.value.field) == ("password_too_weak", "password")
    assert accept(secret).pk


def test_who_joined_meanwhile_is_not_made_twice(manager):
    _invitation, secret = invite(manager)
    make_person(email="Ina@example.org")
    assert refusal_of(accept, secret) == "email_taken"


@pytest.mark.django_db(transaction=True)
def test_two_accepts_of_one_link_make_one_person(manager):
    """Both have passed the first look before either goes on; the second look decides."""
    _invitation, secret = invite(manager)
    codes = _accept_in_two_threads(secret)
    assert codes == ["invitation_accepted", "joined"]
    assert Person.objects.filter(email="ina@example.org").count() == 1


@pytest.mark.django_db(transaction=True)
def test_without_the_second_look_the_database_still_refuses(manager, monkeypatch):
    """The control: with the check under the lock taken away both get as far as the person."""
    from studio.actions import invitations

    monkeypatch.setattr(invitations, "_check_not_here", lambda _email: None)
    found = Invitation.objects.get(pk=invite(manager)[0].pk)
    monkeypatch.setattr(invitations, "_usable", lambda _rows, _secret, _at: found)
    codes = _accept_in_two_threads("any")
    assert codes == ["IntegrityError", "joined"]


def _accept_in_two_threads(secret: str) -> list[str]:
    from studio.actions import invitations

    together = threading.Barrier(2, timeout=20)
    looked = invitations.checked_password
    outcomes: list[str] = []

    def wait_for_the_other(password, person):
        hashed = looked(password, person)
        together.wait()
        return hashed

    def accept_it():
        try:
            accept(secret)
            outcomes.append("joined")
        except Refusal as refusal:
            outcomes.append(refusal.code)
        except Exception as fault:
            outcomes.append(type(fault).__name__)
        finally:
            connection.close()

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(invitations, "checked_password", wait_for_the_other)
        threads = [threading.Thread(target=accept_it) for _ in range(2)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(timeout=30)
    return sorted(outcomes)
