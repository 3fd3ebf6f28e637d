import pytest

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
    assert (unknown.status_code, unknown.url) == (known.status_code, known.url)
