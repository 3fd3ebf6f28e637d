"""Run the SQL that lies beside the migrations: `sql/<engine>/<name>.sql` and `<name>_undo.sql`.

SQLite drops a table's triggers when Django rebuilds the table: a later migration that alters a
guarded table must undo its file before and run it again after, or the tests of refusals fail.
"""

import sqlite3
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from django.db import migrations

SQL = Path(__file__).parent / "sql"


def run_sql_file(name: str) -> migrations.RunPython:
    """The operation that runs one file, and its `_undo` file backwards."""

    def forwards(_apps: Any, schema_editor: Any) -> None:
        _run(schema_editor, name)

    def backwards(_apps: Any, schema_editor: Any) -> None:
        _run(schema_editor, f"{name}_undo")

    return migrations.RunPython(forwards, backwards)


def lift_sql_file(name: str) -> migrations.RunPython:
    """The operation that takes one file's rules away, and brings them back backwards."""

    def forwards(_apps: Any, schema_editor: Any) -> None:
        _run(schema_editor, f"{name}_undo")

    def backwards(_apps: Any, schema_editor: Any) -> None:
        _run(schema_editor, name)

    return migrations.RunPython(forwards, backwards)


def _run(schema_editor: Any, name: str) -> None:
    engine = schema_editor.connection.vendor
    text = (SQL / engine / f"{name}.sql").read_text(encoding="utf-8")
    for statement in _statements(text) if engine == "sqlite" else [text]:
        schema_editor.execute(statement, params=None)


def _statements(text: str) -> Iterator[str]:
    """SQLite takes one statement at a time; `complete_statement` knows where a trigger ends."""
    statement = ""
    for line in text.splitlines(keepends=True):
        statement += line
        if sqlite3.complete_statement(statement):
            yield statement
            statement = ""
