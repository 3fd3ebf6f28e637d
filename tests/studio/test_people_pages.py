"""Pages about people, the studio and its mail, through the real stack."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from studio.actions.access_tokens import create_access_token
from studio.actions.invitations import invite_person
from studio.actions.trail import record_deed
from studio.models import (
    AccessToken,
    Account,
    Invitation,
    MailboxMessage,
    Notice,
    Person,
    Role,
    Studio,
)
from tests.studio.made import NOW, make_account, make_manager, make_person

pytestmark = pytest.mark.django_db

MAILBOX = "studio.channels.email.mailbox.MailboxBackend"


@pytest.fixture
def manager(client) -> Person:
    """Signed in."""
    manager = make_manager()
    client.force_login(manager)
    return manager


def text_of(response) -> str:
    return response.content.decode()


def post(client, page, *args, **fields):
    return client.post(reverse(f"studio:{page}", args=args), fields)


def make_notice(person=None, **fields) -> Notice:
    number = Notice.objects.count()
    marks = {"key": f"k{number}", "message_id": f"<{number}@test>", "kind": "invited"}
    address = person.email if person else "ina@example.org"
    return Notice.objects.create(**{**marks, "person": person, "address": address, **fields})


def make_mail(to="ina@example.org", subject="Ready") -> MailboxMessage:
    number = MailboxMessage.objects.count()
    return MailboxMessage.objects.create(
        message_id=f"<{number}@test>", sender="w@example.org", recipient=to, subject=subject,
        text="Come to https://example.org/x/ soon.",
    )  # fmt: skip


# --- Who may open what ----------------------------------------------------------------------

OPEN_TO = {
    "people": {Role.MANAGER},
    "invite": {Role.MANAGER},
    "accounts": {Role.MANAGER, Role.TREASURER},
    "settings": {Role.MANAGER},
    "notices": {Role.MANAGER},
    "trail": {Role.MANAGER},
    "my_details": set(Role),
    "new_token": set(Role),
    "mailbox": set(Role),
}


@pytest.mark.parametrize("role", Role)
@pytest.mark.parametrize("name", OPEN_TO)
def test_page_opens_for_its_roles(client, name, role):
    client.force_login(make_person(role))
    response = client.get(reverse(f"studio:{name}"))
    assert response.status_code == (200 if role in OPEN_TO[name] else 403)
    assert "<h1>" in text_of(response)


@pytest.mark.parametrize("name", OPEN_TO)
def test_page_asks_strangers_to_sign_in(client, name):
    response = client.get(reverse(f"studio:{name}"))
    assert response.status_code == 302
    assert response.url.startswith(reverse("account_login"))


@pytest.mark.parametrize("name", ["person", "person_roles", "person_account", "deactivate_person"])
def test_pages_about_one_person_are_the_managers(client, name):
    other = make_person()
    client.force_login(make_person(Role.TREASURER))
    assert client.get(reverse(f"studio:{name}", args=[other.pk])).status_code == 403
    client.force_login(make_manager())
    assert client.get(reverse(f"studio:{name}", args=[other.pk])).status_code == 200
    assert client.get(reverse(f"studio:{name}", args=[99999])).status_code == 404


# --- Lists ----------------------------------------------------------------------------------

QUERIES = {"people": 8, "accounts": 7, "notices": 6, "mailbox": 6, "trail": 8, "my_details": 6}


def more_rows(manager):
    person = make_person(Role.MEMBER, Role.CREW)
    email = f"new{person.pk}@example.org"
    invite_person(
        by=manager, at=timezone.now(), email=email, name="New", roles=[Role.MEMBER],
        account=person.account,
    )  # fmt: skip
    make_mail()
    make_notice(person)
    record_deed(person, "noticed", by=person, at=NOW)
    create_access_token(by=manager, at=NOW, name="script")


@pytest.mark.parametrize("rows", [1, 3])
@pytest.mark.parametrize("name", QUERIES)
def test_list_asks_the_same_number_of_questions(
    client, manager, django_assert_num_queries, name, rows
):
    Studio.current()
    for _ in range(rows):
        more_rows(manager)
    with django_assert_num_queries(QUERIES[name]):
        response = client.get(reverse(f"studio:{name}"))
    assert response.status_code == 200


def test_people_are_found_by_name_address_and_account(client, manager):
    shared = make_account("Tuesday class")
    make_person(name="Kaja Berg", account=shared, email="kb@example.org")
    make_person(name="Somebody Else")
    for words in ("kaja", "kb@", "tuesday", str(shared.number)):
        page = client.get(reverse("studio:people"), {"q": words}).context["page"]
        assert [person.name for person in page] == ["Kaja Berg"]
    assert "Nobody found" in text_of(client.get(reverse("studio:people"), {"q": "zzz"}))


def test_accounts_are_found_by_who_shares_them(client, manager):
    shared = make_account("Tuesday class")
    make_person(name="Kaja Berg", account=shared)
    make_person(name="Kaja Lund", account=shared)
    page = client.get(reverse("studio:accounts"), {"q": "kaja"}).context["page"]
    assert list(page) == [shared]


# --- Joining --------------------------------------------------------------------------------


def test_invited_person_joins_and_is_signed_in(client, manager):
    answer = post(
        client, "invite", email="ina@example.org", name="Ina Holm", roles=["member"], account=""
    )
    link = answer.context["link"]
    assert link in text_of(answer)
    client.logout()
    page = client.get(link)
    assert "Maren Vik has invited you" in text_of(page)
    joined = client.post(link, {
        "name": "Ina Holm", "password": "glaze-drips-14", "password_again": "glaze-drips-14",
    })  # fmt: skip
    assert (joined.status_code, joined.url) == (303, "/")
    home = client.get("/")
    assert "Welcome, Ina Holm" in text_of(home)
    assert home.context["me"].email == "ina@example.org"
    client.logout()
    signed_in = client.post(
        reverse("account_login"), {"login": "ina@example.org", "password": "glaze-drips-14"}
    )
    assert (signed_in.status_code, signed_in.url) == (302, "/")


def test_join_keeps_what_was_typed(client, manager):
    _invitation, secret = invite_person(
        by=manager, at=timezone.now(), email="ina@example.org", name="Ina", roles=[Role.MEMBER]
    )
    client.logout()
    for first, again, says in [
        ("glaze-drips-14", "other", "not the same password"),
        ("short", "short", "too short"),
    ]:
        answer = post(client, "join", secret, name="Ina H.", password=first, password_again=again)
        assert answer.status_code == 422
        assert says in text_of(answer)
        assert 'value="Ina H."' in text_of(answer)
    assert not Person.objects.filter(email="ina@example.org").exists()


@pytest.mark.parametrize(
    ("change", "status", "says"),
    [
        ({"accepted_at": NOW}, 410, "has been used"),
        ({"revoked_at": NOW}, 410, "was taken back"),
        ({"expires_at": NOW}, 410, "has expired"),
        ({"secret_digest": "0" * 64}, 404, "does not belong to an invitation"),
    ],
)
def test_dead_link_says_why(client, manager, change, status, says):
    _invitation, secret = invite_person(
        by=manager, at=timezone.now(), email="ina@example.org", name="Ina", roles=[Role.MEMBER]
    )
    Invitation.objects.update(**change)
    client.logout()
    answer = client.get(reverse("studio:join", args=[secret]))
    assert answer.status_code == status
    assert says in text_of(answer)


def test_invite_form_says_what_is_wrong(client, manager):
    make_person(email="ina@example.org")
    wrong = post(client, "invite", email="nobody", name="", roles=["king"], account="77")
    assert wrong.status_code == 422
    assert set(wrong.context["form"].errors) == {"email", "name", "roles", "account"}
    taken = post(
        client, "invite", email="ina@example.org", name="Ina", roles=["member"], account=""
    )
    assert taken.status_code == 409
    assert "is here already" in taken.context["form"].errors["email"][0]
    assert not Invitation.objects.exists()


def test_invitation_is_taken_back_by_a_button(client, manager):
    invitation, _secret = invite_person(
        by=manager, at=timezone.now(), email="ina@example.org", name="Ina", roles=[Role.MEMBER]
    )
    assert client.get(reverse("studio:revoke_invitation", args=[invitation.pk])).status_code == 405
    assert post(client, "revoke_invitation", invitation.pk).status_code == 303
    invitation.refresh_from_db()
    assert invitation.revoked_at is not None


# --- One person -----------------------------------------------------------------------------


def test_manager_changes_roles_and_account(client, manager):
    person, account = make_person(), make_account()
    assert post(client, "person_roles", person.pk, roles=["crew", "member"]).status_code == 303
    assert post(client, "person_account", person.pk, account=account.pk).status_code == 303
    person = Person.objects.get(pk=person.pk)
    assert (person.roles, person.account) == ({Role.CREW, Role.MEMBER}, account)


def test_last_manager_is_told_at_the_field(client, manager):
    answer = post(client, "person_roles", manager.pk, roles=["member"])
    assert answer.status_code == 409
    assert "only studio manager" in answer.context["form"].errors["roles"][0]


def test_person_is_deactivated_and_comes_back(client, manager):
    person = make_person()
    assert post(client, "deactivate_person", person.pk, why="moved").status_code == 303
    page = text_of(client.get(reverse("studio:person", args=[person.pk])))
    assert "Deactivated" in page
    assert "moved" in page
    assert post(client, "reactivate_person", person.pk).status_code == 303
    assert Person.objects.get(pk=person.pk).is_active


# --- Accounts -------------------------------------------------------------------------------


def test_member_sees_the_own_account_only(client):
    shared = make_account("Household")
    client.force_login(make_person(account=shared))
    make_person(name="Kaja Berg", account=shared)
    mine = client.get(reverse("studio:account", args=[shared.number]))
    assert "Kaja Berg" in text_of(mine)
    assert "Rename" not in text_of(mine)
    other = make_person().account
    assert client.get(reverse("studio:account", args=[other.number])).status_code == 404
    assert post(client, "rename_account", shared.number, name="Mine").status_code == 403


def test_treasurer_renames_an_account(client):
    account = make_account()
    client.force_login(make_person(Role.TREASURER))
    assert post(client, "rename_account", account.number, name="Class").status_code == 303
    assert Account.objects.get(pk=account.pk).name == "Class"


# --- My details, tokens ---------------------------------------------------------------------


def test_own_details_are_saved_on_the_page(client):
    person = make_person()
    client.force_login(person)
    fields = {"name": "Ina H.", "phone": "123", "length_unit": "in", "temperature_unit": ""}
    assert post(client, "my_details", **fields).status_code == 303
    wrong = post(client, "my_details", **{**fields, "phone": "call me"})
    assert wrong.status_code == 422
    person.refresh_from_db()
    assert (person.name, person.phone, person.length_unit) == ("Ina H.", "123", "in")


def test_token_is_shown_once(client):
    person = make_person()
    client.force_login(person)
    answer = post(client, "new_token", name="script")
    secret = answer.context["secret"]
    assert secret in text_of(answer)
    assert "no-store" in answer["Cache-Control"]
    page = text_of(client.get(reverse("studio:my_details")))
    assert "script" in page
    assert secret not in page
    token = AccessToken.objects.get()
    assert post(client, "revoke_token", token.pk).status_code == 303
    assert list(client.get(reverse("studio:my_details")).context["tokens"]) == []


def test_token_of_somebody_else_is_not_found(client):
    token, _secret = create_access_token(by=make_person(), at=NOW, name="theirs")
    client.force_login(make_manager())
    assert post(client, "revoke_token", token.pk).status_code == 404
    assert AccessToken.objects.get().revoked_at is None


# --- Settings -------------------------------------------------------------------------------


def test_settings_are_saved_on_the_page(client, manager):
    shown = client.get(reverse("studio:settings")).context["form"].initial
    answer = post(client, "settings", **{**shown, "currency": "eur", "time_zone": "Europe/Oslo"})
    assert answer.status_code == 303
    studio = Studio.current()
    assert (studio.currency, studio.time_zone) == ("EUR", "Europe/Oslo")


@pytest.mark.parametrize(
    ("field", "value"),
    [("currency", "ZZZ"), ("time_zone", "Mars"), ("invitation_days", "0"), ("language", "q")],
)
def test_unusable_settings_say_so_at_the_field(client, manager, field, value):
    shown = client.get(reverse("studio:settings")).context["form"].initial
    answer = post(client, "settings", **{**shown, field: value})
    assert answer.status_code == 422
    assert set(answer.context["form"].errors) == {field}


# --- Notices --------------------------------------------------------------------------------


def test_failed_notice_is_tried_again_by_a_button(client, manager):
    failed = make_notice(state="failed", last_error="550 no such mailbox")
    make_notice(state="sent")
    page = client.get(reverse("studio:notices"), {"state": "failed"})
    assert [notice for notice, _label in page.context["rows"]] == [failed]
    assert "550 no such mailbox" in text_of(page)
    assert post(client, "retry_notice", failed.pk).status_code == 303
    failed.refresh_from_db()
    assert failed.state == "waiting"


def test_notice_that_did_not_fail_stays(client, manager):
    sent = make_notice(state="sent")
    answer = post(client, "retry_notice", sent.pk)
    assert answer.status_code == 409
    assert "has not failed" in text_of(answer)


def test_manager_is_told_at_home_what_did_not_arrive(client, manager):
    assert "did not arrive" not in text_of(client.get("/"))
    make_notice(state="failed")
    assert "1 notice could not be delivered" in text_of(client.get("/"))
    client.force_login(make_person(Role.CREW))
    assert "did not arrive" not in text_of(client.get("/"))


# --- Mail -----------------------------------------------------------------------------------


@pytest.fixture
def letters(settings):
    settings.EMAIL_BACKEND = MAILBOX
    person = make_person(email="ina@example.org")
    return person, make_mail("ina@example.org", "Yours"), make_mail("jon@example.org", "Theirs")


def subjects(client, **query):
    page = client.get(reverse("studio:mailbox"), query).context["page"]
    return [message.subject for message in page]


def test_member_reads_the_own_mail_only(client, letters):
    person, mine, theirs = letters
    client.force_login(person)
    assert subjects(client) == ["Yours"]
    letter = client.get(reverse("studio:mail", args=[mine.pk]))
    assert 'href="https://example.org/x/"' in text_of(letter)
    assert client.get(reverse("studio:mail", args=[theirs.pk])).status_code == 404
    assert subjects(client, to="jon") == []


def test_manager_of_the_demo_reads_all(client, letters, settings):
    settings.IS_DEMO = True
    client.force_login(make_manager())
    assert sorted(subjects(client)) == ["Theirs", "Yours"]
    assert subjects(client, to="jon") == ["Theirs"]


def test_manager_of_a_real_studio_reads_the_own_only(client, letters, settings):
    settings.IS_DEMO = False
    client.force_login(make_manager())
    assert subjects(client) == []


def test_page_says_when_mail_leaves_by_smtp(client, letters, settings):
    settings.EMAIL_BACKEND = "django.core.mail.backends.smtp.EmailBackend"
    client.force_login(letters[0])
    assert "Mail leaves by SMTP" in text_of(client.get(reverse("studio:mailbox")))
    settings.EMAIL_BACKEND = MAILBOX
    assert "Mail leaves by SMTP" not in text_of(client.get(reverse("studio:mailbox")))


# --- Trail ----------------------------------------------------------------------------------


def test_trail_is_filtered(client, manager):
    person = make_person(name="Kaja Berg")
    record_deed(person, "noticed", by=person, at=NOW)
    record_deed(person.account, "looked at", by=manager, at=NOW + timedelta(days=1))
    url = reverse("studio:trail")
    assert [entry.deed for entry in client.get(url).context["page"]] == ["looked at", "noticed"]
    for query, deeds in [({"kind": "person"}, ["noticed"]), ({"q": "maren"}, ["looked at"])]:
        page = client.get(url, query).context["page"]
        assert [entry.deed for entry in page] == deeds


def test_expired_invitation_stays_in_sight_and_is_sent_again(client, manager):
    invitation, _ = invite_person(
        by=manager, at=NOW, email="ro@example.org", name="Ro Alder", roles=[Role.CREW]
    )
    Invitation.objects.update(expires_at=timezone.now() - timedelta(days=1))
    page = text_of(client.get(reverse("studio:people")))
    assert "Ro Alder" in page
    assert "Expired" in page
    again = f"{reverse('studio:invite')}?again={invitation.pk}"
    assert f'href="{again}"' in page
    form = client.get(again).context["form"]
    assert (form["email"].value(), form["name"].value()) == ("ro@example.org", "Ro Alder")
    assert list(form["roles"].value()) == ["crew"]


def test_invitation_form_ignores_an_unknown_earlier_invitation(client, manager):
    for number in ("7", "x", "9" * 40):
        form = client.get(f"{reverse('studio:invite')}?again={number}").context["form"]
        assert form["roles"].value() == [Role.MEMBER]


def test_trail_names_what_it_is_about_and_leads_there(client, manager):
    first, second = make_person(name="Ada Rowan"), make_person(name="Ben Sallow")
    for person in (first, second):
        record_deed(person, "deactivated", by=manager, at=NOW)
    record_deed(Studio.current(), "edited", by=manager, at=NOW)
    page = text_of(client.get(reverse("studio:trail")))
    for person in (first, second):
        assert f'<a href="{reverse("studio:person", args=[person.pk])}">{person.name}</a>' in page
    assert "studio 1" in page
    assert "not said" not in page
