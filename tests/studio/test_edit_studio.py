"""The studio's settings, and opening a real studio."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command

from studio.actions.edit_studio import edit_studio, open_first_studio
from studio.facts import studio_changing
from studio.models import Person, Role, Studio, TrailEntry
from studio.refusals import Denied, Refusal
from tests.studio.made import NOW, make_manager, make_person

pytestmark = pytest.mark.django_db

FIRST = {
    "studio_name": "Kiln Yard",
    "manager_name": "Maren Vik",
    "email": "maren@example.org",
    "password": "glaze-drips-14",
    "time_zone": "Europe/Oslo",
    "currency": "NOK",
}


def test_settings_are_saved_and_recorded():
    manager = make_manager()
    edit_studio(by=manager, at=NOW, time_zone="Europe/Paris", currency="EUR", pick_up_days=10)
    studio = Studio.current()
    assert (studio.time_zone, studio.currency, studio.pick_up_days) == ("Europe/Paris", "EUR", 10)
    entry = TrailEntry.objects.get(subject_kind="studio")
    assert entry.details["changes"] == {
        "time_zone": ["UTC", "Europe/Paris"],
        "currency": ["USD", "EUR"],
        "pick_up_days": [14, 10],
    }


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("time_zone", "Europe/Atlantis"),
        ("time_zone", "../../etc/passwd"),
        ("currency", "ZZZ"),
        ("currency", "eur"),
        ("currency", "XAU"),  # ISO 4217: gold has no minor unit
        ("language", "klingon"),
        ("name", ""),
        ("contact_email", "nobody"),
        ("length_unit", "ft"),
        ("temperature_unit", "K"),
        ("invitation_days", 0),
        ("pick_up_days", 366),
        ("reminder_days", -1),
        ("address", "a" * 501),
    ],
)
def test_unusable_setting_is_refused(field, value):
    manager = make_manager()
    before = Studio.current()
    with pytest.raises(Refusal) as caught:
        edit_studio(by=manager, at=NOW, **{field: value})
    assert (caught.value.field, caught.value.status) == (field, 422)
    assert getattr(Studio.current(), field) == getattr(before, field)


def test_unknown_setting_is_refused():
    with pytest.raises(Refusal, match="no setting called colour"):
        edit_studio(by=make_manager(), at=NOW, colour="blue")


def test_only_a_manager_edits_settings():
    with pytest.raises(Denied):
        edit_studio(by=make_person(Role.TREASURER), at=NOW, name="Mine")


def test_listener_may_refuse_a_change():
    seen = []

    def refuse(sender, *, studio, changes, by, at, **_):
        seen.append((studio.currency, changes))
        raise Refusal("currency_used", "Bills are written in it.", field="currency")

    manager = make_manager()
    studio_changing.connect(refuse)
    try:
        with pytest.raises(Refusal, match="Bills are written"):
            edit_studio(by=manager, at=NOW, currency="EUR")
    finally:
        studio_changing.disconnect(refuse)
    assert seen == [("EUR", {"currency": ("USD", "EUR")})]
    assert Studio.current().currency == "USD"


def test_first_manager_opens_the_studio():
    manager = open_first_studio(at=NOW, **FIRST)
    assert manager.roles == set(Role)
    assert manager.check_password("glaze-drips-14")
    assert manager.account.number == 1001
    studio = Studio.current()
    assert (studio.name, studio.time_zone, studio.currency) == ("Kiln Yard", "Europe/Oslo", "NOK")


def test_studio_opens_once():
    make_person()
    with pytest.raises(Refusal, match="has people already"):
        open_first_studio(at=NOW, **FIRST)


def test_studio_with_a_wrong_zone_does_not_open_half():
    with pytest.raises(Refusal, match="no time zone"):
        open_first_studio(at=NOW, **{**FIRST, "time_zone": "Oslo"})
    assert not Person.objects.exists()


def open_by_command(password_file):
    call_command(
        "open_studio",
        f"--password-file={password_file}",
        "--studio-name=Kiln Yard",
        "--manager-name=Maren Vik",
        "--email=maren@example.org",
        "--time-zone=Europe/Oslo",
        "--currency=NOK",
    )


@pytest.fixture
def password_file(tmp_path):
    path = tmp_path / "password"
    path.write_text("glaze-drips-14\n")
    return path


def test_command_opens_the_studio(password_file, capsys):
    open_by_command(password_file)
    assert capsys.readouterr().out == "The studio is open. maren@example.org can sign in.\n"
    assert Person.objects.get().check_password("glaze-drips-14")


def test_command_says_what_is_wrong_with_the_password(password_file):
    password_file.write_text("short")
    with pytest.raises(CommandError, match="too short"):
        open_by_command(password_file)
    assert not Person.objects.exists()


def test_command_says_that_a_file_is_missing(tmp_path):
    with pytest.raises(CommandError, match="cannot be read: No such file"):
        open_by_command(tmp_path / "nowhere")
