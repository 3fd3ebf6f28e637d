"""The database's refusals can be taken away and put back, on either engine."""

from __future__ import annotations

import pytest
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

TRIGGERS = {
    "sqlite": "SELECT name FROM sqlite_master WHERE type = 'trigger'",
    "postgresql": (
        "SELECT tgname FROM pg_trigger WHERE NOT tgisinternal"
        " UNION ALL SELECT proname FROM pg_proc WHERE proname LIKE 'billing_%'"
    ),
}


def guards() -> list[str]:
    with connection.cursor() as cursor:
        cursor.execute(TRIGGERS[connection.vendor])
        return sorted(name for (name,) in cursor.fetchall())


def migrate(name: str) -> None:
    executor = MigrationExecutor(connection)
    executor.migrate([("billing", name)])


@pytest.mark.django_db(transaction=True)
def test_refusals_are_reversible() -> None:
    before = guards()
    assert before
    try:
        migrate("0001_initial")
        assert guards() == []
    finally:
        latest = MigrationExecutor(connection).loader.graph.leaf_nodes("billing")
        migrate(latest[0][1])
    assert guards() == before
