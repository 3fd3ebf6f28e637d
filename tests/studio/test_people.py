"""Roles, leaving and coming back, accounts, own details."""

from __future__ import annotations

import threading

import pytest
from django.db import connection

from studio.actions import people
from studio.actions.access_tokens import create_access_token, use_access_token
from studio.actions.accounts import move_to_account, rename_account
from studio.actions.people import (
    deactivate_person,
    edit_own_details,
    reactivate_person,
    set_roles,
)
from studio.models import Account, Person, Role, RoleHolding, TrailEntry
from studio.refusals import Denied, Refusal
from tests.studio.made import NOW, make_account, make_manager, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def manager() -> Person:
    return make_manager()


def refusal_of(call, **kwargs):
    with pytest.raises(Refusal) as caught:
        call(at=NOW, **kwargs)
    return caught.value.code


# --- Roles ----------------------------------------------------------------------------------


def test_roles_are_exactly_those_set(manager):
    person = make_person(Role.MEMBER, Role.CREW)
    changed = set_roles(by=manager, at=NOW, person=person, roles=[Role.CREW, Role.TREASURER])
    assert changed.roles == {Role.CREW, Role.TREASURER}
    entry = TrailEntry.objects.get(subject_kind="person", deed="roles set")
    assert entry.details == {"old": ["crew", "member"], "new": ["crew", "treasurer"]}


def test_role_that_stays_keeps_who_granted_it(manager):
    person = make_person(Role.MEMBER)
    set_roles(by=manager, at=NOW, person=person, roles=[Role.MEMBER, Role.CREW])
    granted = dict(person.role_holdings.values_list("role", "granted_by"))
    assert granted == {"member": None, "crew": manager.pk}


def test_last_manager_stays(manager):
    inactive = make_manager("Left Long Ago")
    Person.objects.filter(pk=inactive.pk).update(is_active=False)
    assert refusal_of(set_roles, by=manager, person=manager, roles=[Role.MEMBER]) == "last_manager"
    assert refusal_of(deactivate_person, by=manager, person=manager) == "last_manager"
    assert Person.objects.get(pk=manager.pk).roles == {Role.MANAGER}


def test_manager_may_go_when_another_stays(manager):
    other = make_manager("Other")
    assert set_roles(by=other, at=NOW, person=manager, roles=[Role.MEMBER]).roles == {Role.MEMBER}


def test_roles_need_one_that_is_known(manager):
    person = make_person()
    assert refusal_of(set_roles, by=manager, person=person, roles=[]) == "roles_unusable"
    assert refusal_of(set_roles, by=manager, person=person, roles=["king"]) == "roles_unusable"


@pytest.mark.django_db(transaction=True)
def test_two_managers_who_demote_each_other_leave_one():
    first, second = make_manager("First"), make_manager("Second")
    assert _demote_each_other(first, second) == ["done", "last_manager"]
    assert RoleHolding.objects.filter(role=Role.MANAGER).count() == 1


def test_without_looking_under_the_lock_none_would_be_left(monkeypatch):
    """The control: with what each read before the other wrote, both demotions pass.

    One after the other in one thread: what a race would read is given, so none is needed.
    """
    first, second = make_manager("First"), make_manager("Second")
    for person in (first, second):
        assert person.has_role(Role.MANAGER)  # read before, as a request does
    monkeypatch.setattr(people, "_lock_managers", lambda: [first.pk, second.pk])
    set_roles(by=first, at=NOW, person=second, roles=[Role.MEMBER])
    set_roles(by=second, at=NOW, person=first, roles=[Role.MEMBER])
    assert RoleHolding.objects.filter(role=Role.MANAGER).count() == 0


def _demote_each_other(first: Person, second: Person) -> list[str]:
    together = threading.Barrier(2, timeout=20)
    outcomes: list[str] = []
    for person in (first, second):
        assert person.has_role(Role.MANAGER)  # read before, as a request does

    def demote(by: Person, person: Person) -> None:
        together.wait()
        try:
            set_roles(by=by, at=NOW, person=person, roles=[Role.MEMBER])
            outcomes.append("done")
        except Refusal as refusal:
            outcomes.append(refusal.code)
        finally:
            connection.close()

    threads = [
        threading.Thread(target=demote, args=pair) for pair in ((first, second), (second, first))
    ]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(timeout=30)
    return sorted(outcomes)


# --- Leaving and coming back ----------------------------------------------------------------


def test_deactivated_person_is_out(manager, client):
    person = make_person()
    _token, secret = create_access_token(by=person, at=NOW, name="script")
    client.force_login(person)
    assert client.get("/me/").status_code == 200
    left = deactivate_person(by=manager, at=NOW, person=person, why="moved away")
    assert (left.is_active, left.has_role(Role.MEMBER)) == (False, False)
    assert client.get("/me/").status_code == 302
    assert use_access_token(secret=secret, at=NOW) is None
    entry = TrailEntry.objects.get(deed="deactivated")
    assert (entry.by, entry.why, entry.to_state) == (manager, "moved away", "inactive")


def test_old_sessions_and_tokens_stay_ended_after_coming_back(manager, client):
    person = make_person()
    _token, secret = create_access_token(by=person, at=NOW, name="script")
    client.force_login(person)
    deactivate_person(by=manager, at=NOW, person=person)
    back = reactivate_person(by=manager, at=NOW, person=person)
    assert back.is_active
    assert client.get("/me/").status_code == 302
    assert use_access_token(secret=secret, at=NOW) is None


def test_nobody_leaves_or_comes_back_twice(manager):
    person = make_person()
    assert refusal_of(reactivate_person, by=manager, person=person) == "person_active"
    deactivate_person(by=manager, at=NOW, person=person)
    assert refusal_of(deactivate_person, by=manager, person=person) == "person_inactive"


# --- Accounts -------------------------------------------------------------------------------


def test_person_moves_to_a_shared_account(manager):
    account, person = make_account(), make_person()
    assert move_to_account(by=manager, at=NOW, person=person, account=account).account == account


def test_person_moves_to_a_new_account(manager):
    person = make_person(name="Jon Dahl")
    moved = move_to_account(by=manager, at=NOW, person=person, account=None)
    assert moved.account.name == "Jon Dahl"
    assert moved.account != person.account


def test_move_that_cannot_be(manager):
    person, closed = make_person(), make_account()
    Account.objects.filter(pk=closed.pk).update(closed_at=NOW)
    mine = {"by": manager, "person": person, "account": person.account}
    assert refusal_of(move_to_account, **mine) == "account_is_theirs"
    assert refusal_of(move_to_account, **{**mine, "account": closed}) == "account_closed"


def test_account_is_renamed_by_treasurer_and_manager(manager):
    account = make_account("Old")
    rename_account(by=make_person(Role.TREASURER), at=NOW, account=account, name=" Clay  class ")
    assert Account.objects.get(pk=account.pk).name == "Clay class"
    assert refusal_of(rename_account, by=manager, account=account, name=" ") == "name_unusable"


def test_others_change_nothing_about_people():
    member, other = make_person(Role.MEMBER, Role.CREW), make_person()
    attempts = [
        lambda: set_roles(by=member, at=NOW, person=member, roles=[Role.MANAGER]),
        lambda: deactivate_person(by=member, at=NOW, person=other),
        lambda: reactivate_person(by=member, at=NOW, person=other),
        lambda: move_to_account(by=member, at=NOW, person=member, account=other.account),
        lambda: rename_account(by=member, at=NOW, account=member.account, name="Mine"),
    ]
    for attempt in attempts:
        with pytest.raises(Denied):
            attempt()
    assert not TrailEntry.objects.exists()


# --- Own details ----------------------------------------------------------------------------


def test_own_details_are_saved():
    person = make_person()
    changed = edit_own_details(
        by=person,
        at=NOW,
        name="Ina H.",
        phone="+44 20 7946 0000",
        length_unit="in",
        temperature_unit="F",
    )
    assert (changed.name, changed.phone) == ("Ina H.", "+44 20 7946 0000")
    assert (changed.length_unit, changed.temperature_unit) == ("in", "F")
    assert TrailEntry.objects.get().details["fields"] == [
        "name",
        "phone",
        "length_unit",
        "temperature_unit",
    ]


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"name": ""}, "name"),
        ({"phone": "call me"}, "phone"),
        ({"phone": "1" * 41}, "phone"),
        ({"length_unit": "furlong"}, "length_unit"),
        ({"temperature_unit": "K"}, "temperature_unit"),
    ],
)
def test_unusable_details_are_refused(changes, field):
    person = make_person()
    with pytest.raises(Refusal) as caught:
        edit_own_details(by=person, at=NOW, **{"name": "Ina", **changes})
    assert (caught.value.field, caught.value.status) == (field, 422)
    assert Person.objects.get(pk=person.pk).name == "Ina Holm"
