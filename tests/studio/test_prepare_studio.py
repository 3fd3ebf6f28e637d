"""What is done before a studio is served."""

import pytest
from django.core.management import CommandError, call_command

from studio.environment import DEMO_SIGN_INS
from studio.models import Person


@pytest.fixture
def home(settings, tmp_path):
    settings.HOME = tmp_path
    settings.STATIC_ROOT = tmp_path / "static"
    return tmp_path


@pytest.mark.django_db
def test_a_demo_that_was_interrupted_while_it_was_built_is_not_served(home):
    Person.objects.create_user("ines@example.org", "x", name="Ines")
    with pytest.raises(CommandError, match="--fresh"):
        call_command("prepare_studio", verbosity=0)


@pytest.mark.django_db
def test_a_demo_that_stands_is_served_as_it_is(home):
    Person.objects.create_user("ines@example.org", "x", name="Ines")
    (home / DEMO_SIGN_INS).write_text("ines@example.org", encoding="utf-8")
    call_command("prepare_studio", verbosity=0)
    assert Person.objects.count() == 1
