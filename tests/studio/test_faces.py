"""The common face of the pages: forms that keep what was typed, who may see what, signing in."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from django.core import mail
from django.test import Client
from django.urls import reverse

from studio.models import Person, Role, RoleHolding, Studio
from studio.pages import nav
from tests.studio.sample_pages.urls import DONE

pytestmark = pytest.mark.django_db

PASSWORD = "grog and slip 12"
SignIn = Callable[..., Client]


@pytest.fixture(autouse=True)
def sample_pages(settings: Any) -> None:
    folder = Path(__file__).parent / "sample_pages" / "templates"
    settings.ROOT_URLCONF = "tests.studio.sample_pages.urls"
    settings.TEMPLATES = [{**settings.TEMPLATES[0], "DIRS": [str(folder)]}]
    settings.EMAIL_BACKEND = "django.core.mail.backends.locmem.EmailBackend"
    DONE.clear()


def person_with(*roles: Role, email: str = "mo@example.org", **fields: Any) -> Person:
    person = Person.objects.create_user(email, PASSWORD, name="Mo Sample", **fields)
    for role in roles:
        RoleHolding.objects.create(person=person, role=role)
    return person


@pytest.fixture
def sign_in(client: Client) -> SignIn:
    def signed(*roles: Role, **fields: Any) -> Client:
        client.force_login(person_with(*roles, **fields))
        return client

    return signed


def pieces(name: str, *heights: str, unit: str = "cm", **more: str) -> dict[str, str]:
    rows = {
        f"rows-{index}-{field}": value
        for index, height in enumerate(heights)
        for field, value in {"height_mm": height, "height_mm_unit": unit, "count": "1"}.items()
    }
    counts = {"rows-TOTAL_FORMS": str(len(heights)), "rows-INITIAL_FORMS": "0"}
    return {"name": name, **counts, **rows, **more}


# --- Forms ----------------------------------------------------------------------------------
def test_form_shows_itself(sign_in: SignIn) -> None:
    page = sign_in(Role.MEMBER).get("/sample/")

    assert page.status_code == 200
    assert 'name="rows-2-height_mm"' in page.text
    assert "__prefix__" in page.text


def test_form_done_says_so_and_goes_on(sign_in: SignIn) -> None:
    client = sign_in(Role.MEMBER)
    answer = client.post("/sample/", pieces("mugs", "12.5", "", ""))

    assert (answer.status_code, answer["Location"]) == (303, "/")
    assert DONE == [{"name": "mugs", "starts_at": None, "rows": [{"height_mm": 125, "count": 1}]}]
    assert "mugs is saved." in client.get("/").text


def test_form_invalid_keeps_what_was_typed(sign_in: SignIn) -> None:
    page = sign_in(Role.MEMBER).post("/sample/", pieces("", "12,5"))

    assert page.status_code == 422
    assert 'value="12,5"' in page.text
    assert "Write a plain number here, such as 12.5" in page.text
    assert 'aria-describedby="id_name_error"' in page.text
    assert DONE == []


@pytest.mark.parametrize(
    ("name", "status", "place"),
    [
        ("top", 409, r'role="alert">.*<li>The kiln is busy\. Choose another day\.</li>'),
        ("field", 422, r'id="id_name_error"><p>This name is taken\.</p>'),
        ("row", 409, r'id="id_rows-1-height_mm_error"><p>Too tall for the kiln\.</p>'),
    ],
)
def test_refusal_stands_at_its_place(sign_in: SignIn, name: str, status: int, place: str) -> None:
    page = sign_in(Role.MEMBER).post("/sample/", pieces(name, "12.5", "80"))

    assert page.status_code == status
    assert re.search(place, page.text, re.DOTALL)
    assert 'value="12.5"' in page.text
    assert 'value="80"' in page.text


def test_more_rows_without_scripts(sign_in: SignIn) -> None:
    page = sign_in(Role.MEMBER).post("/sample/", pieces("", "12.5", more_rows="1"))

    assert page.status_code == 200
    assert 'value="12.5"' in page.text
    assert 'name="rows-3-height_mm"' in page.text
    assert "field-error" not in page.text
    assert DONE == []


def test_too_many_rows_are_refused(sign_in: SignIn) -> None:
    page = sign_in(Role.MEMBER).post("/sample/", pieces("mugs", *["10"] * 6))

    assert page.status_code == 422
    assert "Please submit at most 5 forms." in page.text


def test_moment_is_the_studios_local_time(sign_in: SignIn) -> None:
    Studio.objects.update_or_create(pk=1, defaults={"time_zone": "America/Denver"})
    sign_in(Role.MEMBER).post("/sample/", pieces("mugs", "1", starts_at="2026-07-01T09:30"))

    # Mountain Daylight Time is UTC-6 (IANA tz database, America/Denver).
    assert DONE[0]["starts_at"] == datetime(2026, 7, 1, 15, 30, tzinfo=UTC)


def test_inches_for_those_who_read_inches(sign_in: SignIn) -> None:
    client = sign_in(Role.MEMBER, length_unit="in")
    client.post("/sample/", pieces("mugs", "5", unit="in"))

    assert '<option value="in" selected>' in client.get("/sample/").text
    # 1 in = 25.4 mm exactly (NIST SP 811 B.8).
    assert DONE[0]["rows"][0]["height_mm"] == 127


# --- Buttons --------------------------------------------------------------------------------
def test_deed_done(sign_in: SignIn) -> None:
    answer = sign_in(Role.MEMBER).post("/sample/done-deed/", follow=True)

    assert "Collected." in answer.text


def test_refused_deed_goes_back_with_the_reason(sign_in: SignIn) -> None:
    client = sign_in(Role.MEMBER)
    answer = client.post(
        "/sample/refused-deed/", headers={"referer": "http://testserver/sample/?day=2"}
    )

    assert (answer.status_code, answer["Location"]) == (303, "/sample/?day=2")
    assert "The kiln is still hot." in client.get("/").text


def test_refused_deed_never_leads_to_another_host(sign_in: SignIn) -> None:
    answer = sign_in(Role.MEMBER).post(
        "/sample/refused-deed/", headers={"referer": "http://testserver//elsewhere.example/"}
    )

    assert (answer.status_code, answer["Location"]) == (303, "/elsewhere.example/")


@pytest.mark.parametrize(
    "referer", ["", "https://elsewhere.example/", "http://testserver/sample/refused-deed/"]
)
def test_refused_deed_without_a_page_to_go_back_to(sign_in: SignIn, referer: str) -> None:
    answer = sign_in(Role.MEMBER).post("/sample/refused-deed/", headers={"referer": referer})

    assert answer.status_code == 409
    assert "The kiln is still hot." in answer.text


def test_refused_page(sign_in: SignIn) -> None:
    answer = sign_in(Role.MEMBER).get("/sample/refused-page/")

    assert answer.status_code == 409
    assert "Nothing was changed." in answer.text


# --- Who may --------------------------------------------------------------------------------
def test_anonymous_is_asked_to_sign_in_and_comes_back(client: Client) -> None:
    answer = client.get("/sample/crew/?kiln=2")

    assert (answer.status_code, answer["Location"]) == (
        302,
        "/entry/login/?next=/sample/crew/%3Fkiln%3D2",
    )


def test_wrong_role_reads_who_may_and_whom_to_ask(sign_in: SignIn) -> None:
    Studio.objects.update_or_create(pk=1, defaults={"contact_email": "help@example.org"})
    answer = sign_in(Role.MEMBER, Role.MANAGER).get("/sample/crew/")

    assert answer.status_code == 403
    assert "Kiln crew or Treasurer" in answer.text
    assert "help@example.org" in answer.text


@pytest.mark.parametrize("role", [Role.CREW, Role.TREASURER])
def test_right_role_comes_in(sign_in: SignIn, role: Role) -> None:
    assert sign_in(role).get("/sample/crew/").text == "for crew"


def test_menu_leads_somewhere() -> None:
    assert len(nav.nav_entries()) > 0
    for entry in nav.nav_entries():
        assert reverse(entry.url_name).startswith("/")


def test_menu_hides_what_a_role_may_not_see() -> None:
    seen = {
        role: {line.url for section in nav.menu_for("/", {role}) for line in section.lines}
        for role in Role
    }
    for entry in nav.nav_entries():
        for role in Role:
            may = not entry.roles or role in entry.roles
            assert (reverse(entry.url_name) in seen[role]) is may, f"{entry.label} for {role}"


def test_menu_marks_where_one_is(sign_in: SignIn) -> None:
    page = sign_in(Role.MANAGER).get("/style/")

    assert set(re.findall(r'<a href="([^"]+)" aria-current="page"', page.text)) == {"/style/"}


def test_every_page_costs_two_queries_beside_signing_in(
    sign_in: SignIn, django_assert_num_queries: Any
) -> None:
    Studio.current()
    client = sign_in(Role.MEMBER)
    with django_assert_num_queries(4):  # session, person, studio, roles
        client.get("/sample/")


# --- Signing in -----------------------------------------------------------------------------
def sign_in_with(client: Client, password: str) -> Any:
    return client.post("/entry/login/", {"login": "mo@example.org", "password": password})


def test_sign_in_and_out(client: Client) -> None:
    person_with(Role.MEMBER)
    assert sign_in_with(client, PASSWORD)["Location"] == "/"
    assert "Mo Sample" in client.get("/").text

    assert client.post("/entry/logout/")["Location"] == "/entry/login/"
    assert client.get("/").status_code == 302


def test_wrong_password_says_nothing_about_the_address(client: Client) -> None:
    person_with(Role.MEMBER)
    known = sign_in_with(client, "wrong")
    unknown = client.post("/entry/login/", {"login": "no@example.org", "password": "wrong"})

    for page in (known, unknown):
        assert "This address and this password do not belong together." in page.text


def test_guessing_passwords_is_slowed_down(client: Client) -> None:
    person_with(Role.MEMBER)
    for _ in range(5):
        sign_in_with(client, "wrong")
    sixth = sign_in_with(client, PASSWORD)

    assert "Too many tries." in sixth.text
    assert client.get("/").status_code == 302


def test_reset_password_by_mail(client: Client) -> None:
    person_with(Role.MEMBER)
    asked = client.post("/entry/password/reset/", {"email": "mo@example.org"}, follow=True)
    assert "Look into your mail" in asked.text
    link = re.search(r"https?://[^/]+(/entry/password/reset/key/\S+)", mail.outbox[0].body)
    assert link is not None

    page = client.get(link[1], follow=True)
    assert "Choose a new password" in page.text
    address = page.redirect_chain[-1][0]
    new = {"password1": "a wholly new one 7", "password2": "a wholly new one 7"}
    assert "Your password is changed" in client.post(address, new, follow=True).text
    assert sign_in_with(client, "a wholly new one 7")["Location"] == "/"

    again = Client().get(link[1], follow=True)
    assert "This link no longer works" in again.text


def test_reset_for_an_unknown_address_looks_the_same_and_sends_nothing(client: Client) -> None:
    asked = client.post("/entry/password/reset/", {"email": "no@example.org"}, follow=True)

    assert "Look into your mail" in asked.text
    assert mail.outbox == []


def test_asking_for_resets_is_slowed_down(client: Client) -> None:
    person_with(Role.MEMBER)
    answers = [client.post("/entry/password/reset/", {"email": "mo@example.org"}) for _ in range(6)]

    assert [answer.status_code for answer in answers] == [302] * 5 + [429]
    assert "Too many tries" in answers[-1].text


def test_nobody_signs_up_without_an_invitation(client: Client) -> None:
    assert "People join by invitation" in client.get("/entry/signup/").text


@pytest.mark.parametrize("path", ["password/change/", "email/", "logout/", "reauthenticate/"])
def test_other_sign_in_pages_have_our_face(sign_in: SignIn, path: str) -> None:
    page = sign_in(Role.MEMBER).get(f"/entry/{path}", follow=True)

    assert page.status_code == 200
    assert 'class="skip"' in page.text


# --- What went wrong ------------------------------------------------------------------------
def test_page_that_is_not_there(client: Client) -> None:
    page = client.get("/nowhere/")

    assert page.status_code == 404
    assert "There is nothing here" in page.text


def test_form_without_its_token(client: Client) -> None:
    strict = Client(enforce_csrf_checks=True)
    page = strict.post("/entry/login/", {"login": "mo@example.org", "password": "x"})

    assert page.status_code == 403
    assert "This page was open for too long" in page.text


def test_fault_of_ours_shows_no_inside(sign_in: SignIn, monkeypatch: pytest.MonkeyPatch) -> None:
    client = sign_in(Role.MEMBER)
    client.raise_request_exception = False
    monkeypatch.setattr("tests.studio.sample_pages.urls._refuse", lambda: 1 / 0)
    page = client.get("/sample/refused-page/")

    assert page.status_code == 500
    assert "Something broke on our side" in page.text
    assert "ZeroDivision" not in page.text


def test_too_much_sent_as_a_form(sign_in: SignIn, settings: Any) -> None:
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100
    page = sign_in(Role.MEMBER).post("/sample/", {"name": "x" * 200})

    assert page.status_code == 413
    assert "This is too large" in page.text
