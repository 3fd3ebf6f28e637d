"""Runs on whichever database the tests run on."""

from pathlib import Path

import pytest
from django.core.management import CommandError, call_command
from django.db import connection

from studio.models import Person
from studio.process_tree import sole_run_of

pytestmark = pytest.mark.django_db(transaction=True)


def names() -> list[str]:
    return sorted(Person.objects.values_list("email", flat=True))


def test_a_restored_studio_is_as_it_was(tmp_path: Path):
    Person.objects.create_user("ada@example.org", "x")
    call_command("back_up", tmp_path / "studio.back-up")
    Person.objects.create_user("later@example.org", "x")
    Person.objects.filter(email="ada@example.org").update(email="changed@example.org")
    call_command("restore", tmp_path / "studio.back-up", "--replace")
    assert names() == ["ada@example.org"]


def test_a_back_up_is_private_and_never_overwrites(tmp_path: Path):
    path = tmp_path / "studio.back-up"
    call_command("back_up", path)
    assert path.stat().st_mode & 0o077 == 0
    size = path.stat().st_size
    with pytest.raises(CommandError, match="is there already"):
        call_command("back_up", path)
    assert path.stat().st_size == size
    assert list(tmp_path.iterdir()) == [path]


def test_a_full_database_is_replaced_only_on_demand(tmp_path: Path):
    call_command("back_up", tmp_path / "studio.back-up")
    Person.objects.create_user("ada@example.org", "x")
    with pytest.raises(CommandError, match="repeat this with --replace"):
        call_command("restore", tmp_path / "studio.back-up")
    assert names() == ["ada@example.org"]


def test_nothing_is_restored_under_a_running_studio(tmp_path: Path, settings):
    path = tmp_path / "studio.back-up"
    call_command("back_up", path)
    Person.objects.create_user("ada@example.org", "x")
    refused = pytest.raises(CommandError, match="Stop it first")
    with sole_run_of(settings.HOME), refused:
        call_command("restore", path, "--replace")
    assert names() == ["ada@example.org"]


def test_a_file_that_is_no_back_up_changes_nothing(tmp_path: Path):
    Person.objects.create_user("ada@example.org", "x")
    foreign = tmp_path / "photo.jpg"
    sqlite = connection.vendor == "sqlite"
    foreign.write_bytes(b"\xff\xd8\xff not a database" if sqlite else b"SQLite format 3\x00")
    with pytest.raises(CommandError, match="is not a back-up of a"):
        call_command("restore", foreign, "--replace")
    assert names() == ["ada@example.org"]


def test_a_damaged_back_up_changes_nothing(tmp_path: Path):
    Person.objects.create_user("ada@example.org", "x")
    path = tmp_path / "studio.back-up"
    call_command("back_up", path)
    whole = path.read_bytes()
    sqlite = connection.vendor == "sqlite"
    # SQLite: pages overwritten; PostgreSQL: a line that is no SQL near the end.
    middle = len(whole) // 2
    if sqlite:
        path.write_bytes(whole[:4096] + b"\x77" * 8192 + whole[4096 + 8192 :])
    else:
        path.write_bytes(whole[:middle] + b"\nno such statement;\n" + whole[middle:])
    with pytest.raises(CommandError, match="damaged" if sqlite else "no such statement|syntax"):
        call_command("restore", path, "--replace")
    assert names() == ["ada@example.org"]


def test_the_missing_file_and_folder_are_named(tmp_path: Path):
    with pytest.raises(CommandError, match="There is no file"):
        call_command("restore", tmp_path / "absent", "--replace")
    with pytest.raises(CommandError, match="There is no folder"):
        call_command("back_up", tmp_path / "absent" / "studio.back-up")
