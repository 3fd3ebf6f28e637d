"""Empty the SQLite test database after a test that really commits.

The books refuse deletion (billing/migrations/sql). PostgreSQL's TRUNCATE passes by triggers on
rows; SQLite can only DELETE, so its triggers step aside for the flush and come back after it.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any
from unittest import mock

from django.db import transaction
from django.db.backends.sqlite3.base import DatabaseOperations

_execute = DatabaseOperations.execute_sql_flush


def _execute_without_triggers(self: Any, sql_list: list[str]) -> None:
    with transaction.atomic(using=self.connection.alias), self.connection.cursor() as cursor:
        cursor.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
        triggers = cursor.fetchall()
        for name, _ in triggers:
            cursor.execute(f'DROP TRIGGER "{name}"')
        _execute(self, sql_list)
        for _, sql in triggers:
            cursor.execute(sql)


@contextmanager
def flushing_past_triggers() -> Iterator[None]:
    """While this is on, Django's flush of a SQLite database passes by its triggers."""
    with mock.patch.object(DatabaseOperations, "execute_sql_flush", _execute_without_triggers):
        yield
