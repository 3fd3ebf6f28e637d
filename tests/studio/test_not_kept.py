"""Nothing that was shown to one person is left in the browser for the next."""

import pytest

from tests.studio.made import make_person

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("address", ["/", "/me/", "/api/v1/me/", "/nowhere/"])
def test_answers_are_not_kept(client, address):
    client.force_login(make_person())
    assert "no-store" in client.get(address).headers["Cache-Control"]
