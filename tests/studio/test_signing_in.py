import re

import pytest
from django.test import Client
from django.utils import timezone

from studio.actions.access_tokens import create_access_token
from studio.models import Person

pytestmark = pytest.mark.django_db


def sign_in(client, password: str):
    return client.post("/entry/login/", {"login": "ada@example.org", "password": password})


@pytest.fixture
def ada() -> Person:
    return Person.objects.create_user("ada@example.org", "stoneware-cone-6")


def test_the_right_password_signs_in(client, ada):
    assert sign_in(client, "stoneware-cone-6").status_code == 302
    assert client.session["_auth_user_id"] == str(ada.pk)


def test_wrong_passwords_are_limited_even_for_the_right_one_after_them(client, ada):
    for _ in range(5):
        sign_in(client, "wrong")
    sign_in(client, "stoneware-cone-6")
    assert "_auth_user_id" not in client.session


def test_nobody_signs_up_without_an_invitation(client):
    form = {"email": "eve@example.org", "password1": "stoneware-6", "password2": "stoneware-6"}
    client.post("/entry/signup/", form)
    assert not Person.objects.exists()


def test_a_reset_for_an_unknown_address_looks_the_same_and_mails_nobody(client, ada, mailoutbox):
    unknown = client.post("/entry/password/reset/", {"email": "eve@example.org"})
    assert mailoutbox == []
    known = client.post("/entry/password/reset/", {"email": "ada@example.org"})
    assert [mail.to for mail in mailoutbox] == [["ada@example.org"]]
    assert mailoutbox[0].subject == "Choose a new password"
    assert (unknown.status_code, unknown.url) == (known.status_code, known.url)


def test_a_reset_looks_the_same_when_the_mail_server_is_away(client, ada, monkeypatch):
    """OWASP ASVS 5.0.0, 6.3.8: a fault for known addresses alone would tell who is here."""

    def away(*_, **__):
        raise ConnectionRefusedError

    monkeypatch.setattr("django.core.mail.EmailMessage.send", away)
    unknown = client.post("/entry/password/reset/", {"email": "eve@example.org"})
    known = client.post("/entry/password/reset/", {"email": "ada@example.org"})
    assert (unknown.status_code, unknown.url) == (known.status_code, known.url)


def test_a_changed_password_ends_the_other_sessions(client, ada):
    """OWASP ASVS 5.0.0, 7.4.3."""
    other = Client()
    sign_in(other, "stoneware-cone-6")
    sign_in(client, "stoneware-cone-6")
    new = {"password1": "earthenware-04", "password2": "earthenware-04"}
    client.post("/entry/password/change/", {"oldpassword": "stoneware-cone-6", **new})
    assert client.get("/me/").status_code == 200
    assert other.get("/me/").status_code == 302


def test_a_changed_password_ends_the_tokens_for_programs(client, ada):
    """OWASP ASVS 5.0.0, 7.4.3: what was signed in elsewhere is, from now on, not."""
    _, secret = create_access_token(by=ada, at=timezone.now(), name="label printer")
    printer = {"headers": {"authorization": f"Bearer {secret}"}}
    assert client.get("/api/v1/me/", **printer).status_code == 200
    sign_in(client, "stoneware-cone-6")
    new = {"password1": "earthenware-04", "password2": "earthenware-04"}
    client.post("/entry/password/change/", {"oldpassword": "stoneware-cone-6", **new})
    assert Client().get("/api/v1/me/", **printer).status_code == 401
    assert sign_in(Client(), "earthenware-04").status_code == 302


def test_a_forgotten_password_chosen_anew_ends_sessions_and_tokens(client, ada, mailoutbox):
    _, secret = create_access_token(by=ada, at=timezone.now(), name="label printer")
    other = Client()
    sign_in(other, "stoneware-cone-6")
    client.post("/entry/password/reset/", {"email": "ada@example.org"})
    [link] = re.findall(r"/entry/password/reset/key/\S+", mailoutbox[0].body)
    form_url = client.get(link).url
    new = {"password1": "earthenware-04", "password2": "earthenware-04"}
    client.post(form_url, new)
    assert sign_in(Client(), "earthenware-04").status_code == 302
    assert other.get("/me/").status_code == 302
    bearer = {"authorization": f"Bearer {secret}"}
    assert Client().get("/api/v1/me/", headers=bearer).status_code == 401
