"""A person's keys to the API: shown once, revoked for good."""

from __future__ import annotations

import hashlib
from datetime import timedelta

import pytest

from studio.actions.access_tokens import (
    TOKENS_MAX,
    create_access_token,
    revoke_access_token,
    use_access_token,
)
from studio.models import AccessToken, Person
from studio.refusals import Denied, Refusal
from tests.studio.made import NOW, make_manager, make_person

pytestmark = pytest.mark.django_db


@pytest.fixture
def person() -> Person:
    return make_person()


def test_token_is_kept_as_its_sha256(person):
    token, secret = create_access_token(by=person, at=NOW, name="script")
    assert token.digest == hashlib.sha256(secret.encode()).hexdigest()
    assert use_access_token(secret=secret, at=NOW) == token
    assert create_access_token(by=person, at=NOW, name="script")[1] != secret


def test_use_is_noted_once_a_minute(person):
    _token, secret = create_access_token(by=person, at=NOW, name="script")
    for seconds, noted in [(0, 0), (59, 0), (60, 60)]:
        use_access_token(secret=secret, at=NOW + timedelta(seconds=seconds))
        assert AccessToken.objects.get().last_used_at == NOW + timedelta(seconds=noted)


def test_unknown_token_is_nobody(person):
    assert use_access_token(secret="wb_made-up", at=NOW) is None


def test_revoked_token_is_nobody(person):
    token, secret = create_access_token(by=person, at=NOW, name="script")
    revoke_access_token(by=person, at=NOW, token=token)
    assert use_access_token(secret=secret, at=NOW) is None
    with pytest.raises(Refusal, match="revoked already"):
        revoke_access_token(by=person, at=NOW, token=token)


def test_token_of_somebody_else_stays(person):
    token, _secret = create_access_token(by=person, at=NOW, name="script")
    with pytest.raises(Denied):
        revoke_access_token(by=make_manager(), at=NOW, token=token)
    assert AccessToken.objects.get().revoked_at is None


def test_inactive_person_makes_none(person):
    Person.objects.update(is_active=False)
    with pytest.raises(Denied):
        create_access_token(by=person, at=NOW, name="script")


def test_tokens_have_a_limit(person):
    for number in range(TOKENS_MAX):
        token, _secret = create_access_token(by=person, at=NOW, name=f"script {number}")
    with pytest.raises(Refusal, match="You have 20 tokens"):
        create_access_token(by=person, at=NOW, name="one more")
    revoke_access_token(by=person, at=NOW, token=token)
    assert create_access_token(by=person, at=NOW, name="one more")[0].pk
