"""Input that is well-formed and that no database could keep: an answer, never a fault."""

import pytest

from studio.models import Person, Role
from tests.studio.made import make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def person(client) -> Person:
    person = make_person(Role.MANAGER)
    client.force_login(person)
    return person


@pytest.mark.parametrize(
    "body",
    [
        r'{"name": "Ina\u0000"}',
        r'{"length_unit": "\ud800"}',
        r'{"\ud800": 1}',
        r'{"name": {"deep": ["\u0000"]}}',
        '{"account": 1e400}',
        '{"account": NaN}',
    ],
)
def test_json_that_holds_what_nobody_could_keep_is_refused(person, client, body):
    answer = client.patch("/api/v1/me/", body, content_type="application/json")
    assert (answer.status_code, answer.json()["code"]) == (400, "parse_error")
    assert Person.objects.get(pk=person.pk).name == "Ina Holm"


def test_a_typed_backslash_and_signs_outside_the_basic_plane_are_text(person, client):
    """U+1F3FA stands in JSON as a pair of halves (RFC 8259, 7): whole, it is a character."""
    body = r'{"name": "Ina \\u0000 \ud83c\udffa"}'
    answer = client.patch("/api/v1/me/", body, content_type="application/json")
    assert answer.status_code == 200
    assert Person.objects.get(pk=person.pk).name == "Ina \\u0000 \U0001f3fa"


@pytest.mark.parametrize(
    "address", ["/people/?q=%00", "/people/accounts/?q=a%00b", "/mail/?to=%00", "/trail/?kind=%00"]
)
def test_a_search_for_no_character_is_answered(person, client, address):
    assert client.get(address).status_code == 400


def test_the_api_answers_it_in_json(person, client):
    answer = client.get("/api/v1/people/?page=%00")
    assert (answer.status_code, answer.json()["code"]) == (400, "address_unreadable")
