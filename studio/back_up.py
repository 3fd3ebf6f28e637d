"""A whole studio into one file and back, on both databases.

SQLite: a copy made by SQLite itself, consistent while the studio runs. PostgreSQL: plain SQL by
pg_dump, read back by psql in one transaction. Secrets of the environment are in neither.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import subprocess
from contextlib import closing
from pathlib import Path

from django.db import connection
from django.db.backends.postgresql.client import DatabaseClient

SQLITE_MARK = b"SQLite format 3\x00"


class BackUpFault(Exception):
    """Why it was not done, for the person at the terminal."""


def back_up(path: Path) -> None:
    """Write the whole database to a new file, readable by its owner only."""
    if path.exists():
        raise BackUpFault(
            f"{path} is there already: choose a new name, a back-up never overwrites."
        )
    if not path.parent.is_dir():
        raise BackUpFault(f"There is no folder {path.parent}.")
    draft = path.with_name(f".{path.name}.unfinished")
    draft.unlink(missing_ok=True)
    draft.touch(mode=0o600)
    try:
        _write_sqlite(draft) if connection.vendor == "sqlite" else _write_postgresql(draft)
        draft.rename(path)
    finally:
        draft.unlink(missing_ok=True)


def restore(path: Path, *, replaces: bool) -> None:
    """Put a back-up in place of the database; `replaces` says that what is there may go."""
    if not path.is_file():
        raise BackUpFault(f"There is no file {path}.")
    if connection.introspection.table_names() and not replaces:
        raise BackUpFault(
            "The database is not empty. Back it up first, then repeat this with --replace."
        )
    if _is_sqlite_file(path) != (connection.vendor == "sqlite"):
        raise BackUpFault(f"{path} is not a back-up of a {connection.display_name} studio.")
    _read_sqlite(path) if connection.vendor == "sqlite" else _read_postgresql(path)
    connection.close()


def _is_sqlite_file(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(len(SQLITE_MARK)) == SQLITE_MARK


# --- SQLite ---------------------------------------------------------------------------------


def _write_sqlite(draft: Path) -> None:
    connection.ensure_connection()
    with closing(sqlite3.connect(draft)) as copy:
        connection.connection.backup(copy)


def _read_sqlite(path: Path) -> None:
    with closing(sqlite3.connect(f"{path.resolve().as_uri()}?mode=ro", uri=True)) as kept:
        try:
            verdict = kept.execute("PRAGMA integrity_check").fetchone()[0]
            tables = {row[0] for row in kept.execute("SELECT name FROM sqlite_master")}
        except sqlite3.DatabaseError as fault:
            raise BackUpFault(f"{path} is damaged ({fault}); nothing was changed.") from fault
        if verdict != "ok":
            raise BackUpFault(f"{path} is damaged ({verdict}); nothing was changed.")
        if "studio_person" not in tables:
            raise BackUpFault(f"{path} holds no studio; nothing was changed.")
        connection.ensure_connection()
        kept.backup(connection.connection)


# --- PostgreSQL -----------------------------------------------------------------------------


def _write_postgresql(draft: Path) -> None:
    with draft.open("wb") as file:
        _run("pg_dump", ["--format=plain", "--no-owner", "--no-privileges"], stdout=file)


def _read_postgresql(path: Path) -> None:
    if "studio_person" not in path.read_text(encoding="utf-8"):
        raise BackUpFault(f"{path} holds no studio; nothing was changed.")
    connection.close()
    # One transaction: when a line of the file fails, the old tables are still there.
    empty = ["--command", "DROP SCHEMA public CASCADE", "--command", "CREATE SCHEMA public"]
    careful = ["--quiet", "--no-psqlrc", "--single-transaction", "--set", "ON_ERROR_STOP=1"]
    _run("psql", [*careful, *empty, "--file", str(path)], stdout=subprocess.DEVNULL)


def _run(program: str, options: list[str], stdout: object) -> None:
    if shutil.which(program) is None:
        raise BackUpFault(
            f"{program} is not installed. Install PostgreSQL's client programs (Debian:"
            " postgresql-client), of the server's version or newer."
        )
    command, env = DatabaseClient.settings_to_cmd_args_env(connection.settings_dict, options)
    ended = subprocess.run(
        [program, *command[1:]],
        env={**os.environ, **(env or {})},
        stdout=stdout,  # type: ignore[call-overload]
        stderr=subprocess.PIPE,
        check=False,
    )
    if ended.returncode != 0:
        raise BackUpFault(f"{program} failed: {ended.stderr.decode('utf-8', 'replace').strip()}")
