"""The studio's API: the same actions, and nobody reaches what is not theirs."""

from __future__ import annotations

from io import StringIO

import pytest
from django.core.management import call_command
from django.utils import timezone
from rest_framework.test import APIClient

from studio.actions.access_tokens import create_access_token
from studio.actions.invitations import invite_person
from studio.models import AccessToken, Account, Invitation, Notice, Person, Role, Studio
from tests.studio.made import NOW, make_account, make_manager, make_person

pytestmark = pytest.mark.django_db

API = "/api/v1"


def as_person(person: Person) -> APIClient:
    """A program with a token of `person`."""
    _token, secret = create_access_token(by=person, at=NOW, name="test")
    client = APIClient()
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    return client


@pytest.fixture
def manager() -> Person:
    return make_manager()


@pytest.fixture
def api(manager) -> APIClient:
    return as_person(manager)


def make_notice(person=None, **fields) -> Notice:
    number = Notice.objects.count()
    marks = {"key": f"k{number}", "message_id": f"<{number}@test>", "kind": "invited"}
    return Notice.objects.create(**{**marks, "person": person, "address": "a@b.org", **fields})


# --- Who is there ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("header", "says"),
    [
        ("", "Authentication credentials were not provided."),
        ("Bearer wb_made-up", "This token is unknown or revoked. Make a new one under My details."),
        ("Bearer", "Write the header as: Authorization: Bearer <token>"),
        ("Bearer a b", "Write the header as: Authorization: Bearer <token>"),
        ("Basic aW5hOng=", "Authentication credentials were not provided."),
    ],
)
def test_stranger_is_refused(header, says):
    """RFC 6750, 3: 401 with a WWW-Authenticate header that names the scheme."""
    answer = APIClient().get(f"{API}/me/", headers={"Authorization": header} if header else {})
    assert (answer.status_code, answer.json()["message"]) == (401, says)
    assert answer["WWW-Authenticate"] == "Bearer"


def test_token_of_who_left_is_refused(manager):
    person = make_person()
    client = as_person(person)
    assert client.get(f"{API}/me/").status_code == 200
    Person.objects.filter(pk=person.pk).update(is_active=False)
    assert client.get(f"{API}/me/").status_code == 401


def test_session_works_too(client):
    client.force_login(make_person(name="Kaja"))
    assert client.get(f"{API}/me/").json()["name"] == "Kaja"


STRANGERS = ["people", "accounts", "invitations", "notices", "tokens", "studio", "me"]


@pytest.mark.parametrize("name", STRANGERS)
def test_nothing_is_open_to_strangers(name):
    assert APIClient().get(f"{API}/{name}/").status_code == 401


# --- Me -------------------------------------------------------------------------------------


def test_me_tells_and_changes_own_details():
    client = as_person(make_person(Role.MEMBER, Role.CREW, name="Kaja"))
    assert client.get(f"{API}/me/").json()["roles"] == ["crew", "member"]
    answer = client.patch(f"{API}/me/", {"length_unit": "in"})
    assert (answer.status_code, answer.json()["length_unit"]) == (200, "in")
    assert answer.json()["name"] == "Kaja"


def test_me_refuses_an_unknown_unit():
    answer = as_person(make_person()).patch(f"{API}/me/", {"length_unit": "furlong"})
    assert (answer.status_code, list(answer.json()["fields"])) == (400, ["length_unit"])


def test_me_refuses_an_unusable_phone():
    answer = as_person(make_person()).patch(f"{API}/me/", {"phone": "call me"})
    assert (answer.status_code, answer.json()["code"]) == (422, "phone_unusable")


# --- People ---------------------------------------------------------------------------------


def names(answer) -> list[str]:
    return [row["name"] for row in answer.json()["results"]]


def test_member_sees_who_shares_the_account():
    shared = make_account()
    client = as_person(make_person(name="Ina", account=shared))
    housemate = make_person(name="Jon", account=shared)
    other = make_person(name="Zoe")
    assert names(client.get(f"{API}/people/")) == ["Ina", "Jon"]
    assert client.get(f"{API}/people/{housemate.pk}/").status_code == 200
    assert client.get(f"{API}/people/{other.pk}/").status_code == 404


def test_member_without_an_account_sees_nobody_else():
    person = make_person(name="Ina")
    other = make_person(name="Jon")
    Person.objects.update(account=None)
    assert names(as_person(person).get(f"{API}/people/")) == ["Ina"]
    assert other.pk


@pytest.mark.parametrize("rows", [1, 3])
def test_people_ask_the_same_number_of_questions(api, django_assert_num_queries, rows):
    for _ in range(rows):
        make_person(Role.MEMBER, Role.CREW)
    api.get(f"{API}/me/")
    with django_assert_num_queries(5):
        assert len(names(api.get(f"{API}/people/"))) == rows + 1


def test_manager_changes_people(api):
    person, account = make_person(), make_account()
    url = f"{API}/people/{person.pk}"
    assert api.put(f"{url}/roles/", {"roles": ["crew"]}).json()["roles"] == ["crew"]
    moved = api.put(f"{url}/account/", {"account": account.number})
    assert moved.json()["account"]["number"] == account.number
    assert api.put(f"{url}/account/", {"account": None}).status_code == 200
    assert api.post(f"{url}/deactivate/", {"why": "moved"}).json()["is_active"] is False
    assert api.post(f"{url}/reactivate/").json()["is_active"] is True


@pytest.mark.parametrize(
    ("path", "sent", "status", "code"),
    [
        ("roles", {"roles": ["king"]}, 400, "invalid"),
        ("roles", {"roles": []}, 400, "invalid"),
        ("roles", {}, 400, "invalid"),
        ("account", {"account": 77}, 400, "invalid"),
        ("roles", {"roles": ["member"]}, 409, "last_manager"),
    ],
)
def test_bad_change_of_a_person_is_refused(api, manager, path, sent, status, code):
    answer = api.put(f"{API}/people/{manager.pk}/{path}/", sent)
    assert (answer.status_code, answer.json()["code"]) == (status, code)
    assert Person.objects.get(pk=manager.pk).roles == {Role.MANAGER}


@pytest.mark.parametrize("path", ["roles", "account", "deactivate", "reactivate"])
def test_others_change_nobody(path):
    member = make_person(Role.MEMBER, Role.CREW, Role.TREASURER)
    method = "put" if path in ("roles", "account") else "post"
    call = getattr(as_person(member), method)
    answer = call(f"{API}/people/{member.pk}/{path}/", {"roles": ["manager"], "account": None})
    assert answer.status_code == 403
    assert "studio manager" in answer.json()["message"]


# --- Accounts -------------------------------------------------------------------------------


def test_member_sees_the_own_account():
    person = make_person()
    other = make_person().account
    client = as_person(person)
    assert names(client.get(f"{API}/accounts/")) == [person.account.name]
    assert client.get(f"{API}/accounts/{other.number}/").status_code == 404
    own = f"{API}/accounts/{person.account.number}/"
    assert client.patch(own, {"name": "Mine"}).status_code == 403
    assert client.patch(f"{API}/accounts/{other.number}/", {"name": "Mine"}).status_code == 404


def test_treasurer_renames_an_account():
    account = make_account()
    answer = as_person(make_person(Role.TREASURER)).patch(
        f"{API}/accounts/{account.number}/", {"name": "Class"}
    )
    assert answer.json()["name"] == "Class"
    assert Account.objects.get(pk=account.pk).name == "Class"


# --- Invitations ----------------------------------------------------------------------------


def test_joining_by_api(api):
    answer = api.post(
        f"{API}/invitations/",
        {"email": "ina@example.org", "name": "Ina", "roles": ["member"]},
    )
    assert answer.status_code == 201
    link = answer.json()["link"]
    assert link.startswith("http://localhost:8000/join/")
    listed = api.get(f"{API}/invitations/").json()["results"]
    assert [(row["state"], "link" in row) for row in listed] == [("open", False)]
    joined = APIClient().post(
        f"{API}/invitations/accept/",
        {"secret": link.split("/")[-2], "name": "Ina", "password": "glaze-drips-14"},
    )
    assert joined.status_code == 201
    assert joined.json()["email"] == "ina@example.org"


def test_made_up_secret_is_refused():
    answer = APIClient().post(
        f"{API}/invitations/accept/", {"secret": "x", "name": "Eve", "password": "glaze-drips-14"}
    )
    assert (answer.status_code, answer.json()["code"]) == (404, "invitation_unknown")


def test_invitation_is_revoked(api, manager):
    invitation, _secret = invite_person(
        by=manager, at=timezone.now(), email="ina@example.org", name="Ina", roles=[Role.MEMBER]
    )
    url = f"{API}/invitations/{invitation.pk}/revoke/"
    assert api.post(url).json()["state"] == "revoked"
    assert api.post(url).status_code == 409


def test_invitations_are_the_managers():
    client = as_person(make_person(Role.TREASURER))
    assert client.get(f"{API}/invitations/").status_code == 403
    sent = {"email": "ina@example.org", "name": "Ina", "roles": ["manager"]}
    assert client.post(f"{API}/invitations/", sent).status_code == 403
    assert not Invitation.objects.exists()


# --- Studio ---------------------------------------------------------------------------------


def test_everybody_reads_the_studio_and_a_manager_edits_it(api):
    member = as_person(make_person())
    assert member.get(f"{API}/studio/").json()["currency"] == "USD"
    assert member.patch(f"{API}/studio/", {"currency": "EUR"}).status_code == 403
    assert api.patch(f"{API}/studio/", {"currency": "EUR"}).json()["currency"] == "EUR"
    wrong = api.patch(f"{API}/studio/", {"time_zone": "Mars"})
    assert (wrong.status_code, list(wrong.json()["fields"])) == (422, ["time_zone"])
    assert Studio.current().time_zone == "UTC"


# --- Notices --------------------------------------------------------------------------------


def test_member_sees_the_own_notices():
    person = make_person()
    mine, other = make_notice(person), make_notice(make_person(), state="failed")
    client = as_person(person)
    listed = client.get(f"{API}/notices/").json()["results"]
    assert [row["id"] for row in listed] == [mine.pk]
    assert client.get(f"{API}/notices/{other.pk}/").status_code == 404
    assert client.post(f"{API}/notices/{other.pk}/retry/").status_code == 404
    assert client.post(f"{API}/notices/{mine.pk}/retry/").status_code == 403


def test_manager_tries_a_failed_notice_again(api):
    failed, sent = make_notice(state="failed"), make_notice(state="sent")
    assert api.post(f"{API}/notices/{failed.pk}/retry/").json()["state"] == "waiting"
    assert api.post(f"{API}/notices/{sent.pk}/retry/").json()["code"] == "notice_not_failed"


# --- Tokens ---------------------------------------------------------------------------------


def test_tokens_are_ones_own():
    person = make_person()
    client = as_person(person)
    made = client.post(f"{API}/tokens/", {"name": "script"})
    assert made.status_code == 201
    assert made.json()["secret"].startswith("wb_")
    listed = client.get(f"{API}/tokens/").json()["results"]
    assert sorted(row["name"] for row in listed) == ["script", "test"]
    assert all("secret" not in row and "digest" not in row for row in listed)
    assert client.post(f"{API}/tokens/{made.json()['id']}/revoke/").status_code == 200


def test_token_of_somebody_else_is_not_found(api):
    token, _secret = create_access_token(by=make_person(), at=NOW, name="theirs")
    assert api.get(f"{API}/tokens/{token.pk}/").status_code == 404
    assert api.post(f"{API}/tokens/{token.pk}/revoke/").status_code == 404
    assert AccessToken.objects.get(pk=token.pk).revoked_at is None


# --- The description ------------------------------------------------------------------------


def test_description_is_made_without_a_warning():
    """OpenAPI 3.1; every address of the studio's API is in it."""
    out = StringIO()
    call_command("spectacular", "--validate", "--fail-on-warn", "--format=openapi-json", stdout=out)
    described = out.getvalue()
    assert '"openapi": "3.1.0"' in described
    for name in STRANGERS:
        assert f'"/api/v1/{name}/"' in described
    assert '"accessToken"' in described
