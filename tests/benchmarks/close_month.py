"""How long closing a month takes for 1,000 accounts with 60 firings, and where the time goes.

    python -m tests.benchmarks.close_month [--accounts 1000] [--firings 60]

The measure is the action a treasurer's button calls: balances, lines with their working, frozen
content, hash, the comparison with the ledger, numbered statements, letters in the outbox. The
yardsticks, in the same run and on the same database: writing the very rows the close has written,
content as JSON included, by one bare bulk insert into tables without triggers; and one SQL
statement that only sums the month by account. On SQLite, or on PostgreSQL with DATABASE_URL set to
an empty database. No nudge is sent: a broker is not part of it.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest import mock

SUMS = """
    SELECT a.holder_id,
        sum(CASE WHEN e."on" < '2026-03-01' THEN p.amount_minor ELSE 0 END),
        sum(CASE WHEN e."on" >= '2026-03-01' AND p.amount_minor > 0 THEN p.amount_minor ELSE 0 END),
        sum(CASE WHEN e."on" >= '2026-03-01' AND p.amount_minor < 0 THEN -p.amount_minor ELSE 0 END)
    FROM billing_posting p
    JOIN billing_journalentry e ON e.id = p.entry_id
    JOIN billing_ledgeraccount a ON a.id = p.account_id
    WHERE a.holder_id IS NOT NULL AND e.posted_at IS NOT NULL AND e."on" < '2026-04-01'
    GROUP BY a.holder_id
"""
# What a close does, in its order, and where to catch it.
STEPS = {
    "read the lines, add them up": "statement_drafts",
    "compare with the ledger": "_check_ledger_agrees",
    "freeze and hash the content": "_statements",
    "insert the statements": "Statement.objects.bulk_create",
    "write the letters": "write_statement_notices",
}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--accounts", type=int, default=1000)
    parser.add_argument("--firings", type=int, default=60)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="wb-") as folder:
        os.environ |= {"WAREBOARD_HOME": folder, "WAREBOARD_MODE": "demo"}
        _start_django()
        treasurer = _build_studio(arguments.accounts, arguments.firings)
        sums_s, summed = _time_sums()
        close_s, steps_s, statements = _time_close(treasurer)
        insert_s, rows = _time_bare_inserts()
    if summed != statements:
        sys.exit(f"SQL summed {summed} accounts, the close {statements}: they must agree")
    write = sys.stdout.write
    write(f"{statements} statements from {arguments.firings} firings\n")
    write(f"close_month                        {close_s:7.3f} s\n")
    for step, step_s in steps_s.items():
        write(f"  {step:<32} {step_s:7.3f} s\n")
    write(f"  {'the rest, with the commit':<32} {close_s - sum(steps_s.values()):7.3f} s\n")
    write(
        f"bare insert of the same {rows} rows  {insert_s:7.3f} s: ratio {close_s / insert_s:.1f}\n"
    )
    write(f"one SQL that only sums             {sums_s:7.3f} s: ratio {close_s / sums_s:.1f}\n")


def _start_django() -> None:
    import django

    os.environ["DJANGO_SETTINGS_MODULE"] = "studio.settings"
    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)


def _build_studio(accounts: int, firings: int) -> Any:
    """A treasurer, and members who each have two bookings in March's firings."""
    from datetime import timedelta

    from django.db import transaction

    from billing.actions.price_firing import post_firing_cost
    from studio.models import Account, Person, Role
    from tests.billing import scene

    scene.make_studio()
    scene.make_tariff()
    kiln = scene.make_kiln()
    scene.fit_relays(kiln)
    treasurer = scene.make_person("Tess Till", Role.TREASURER)
    Account.objects.bulk_create(
        Account(number=number, name=f"Account {number}") for number in range(1, accounts + 1)
    )
    Person.objects.bulk_create(
        Person(
            name=f"Member {account.number}",
            email=f"{account.number}@example.org",
            account=account,
        )
        for account in Account.objects.all()
    )
    members = list(Person.objects.exclude(account=None))
    per_firing = max(1, 2 * accounts // firings)
    for number in range(firings):
        at = scene.NOON + timedelta(hours=8 * number % 480)
        with transaction.atomic():
            wares = [
                (members[(number * per_firing + place) % accounts], 3_000 + 17 * place)
                for place in range(per_firing + 1)
            ]
            post_firing_cost(scene.fire_with_ware(kiln, wares, started_at=at), None, at)
    return treasurer


def _time_sums() -> tuple[float, int]:
    from django.db import connection

    with connection.cursor() as cursor:
        start = time.perf_counter()
        cursor.execute(SUMS)
        rows = cursor.fetchall()
        return time.perf_counter() - start, len(rows)


def _time_close(treasurer: Any) -> tuple[float, dict[str, float], int]:
    from billing.actions import close_month as closing
    from studio.actions.outbox import without_nudges
    from tests.billing import scene

    with _timed_steps(closing) as steps_s, without_nudges():
        start = time.perf_counter()
        close = closing.close_month(by=treasurer, at=scene.AFTER_MARCH, month=scene.MARCH)
        close_s = time.perf_counter() - start
    return close_s, steps_s, close.statements.count()


@contextmanager
def _timed_steps(closing: Any) -> Iterator[dict[str, float]]:
    steps_s: dict[str, float] = {}
    with ExitStack() as patches:
        for step, name in STEPS.items():
            path, _, last = name.rpartition(".")
            owner = closing
            for part in filter(None, path.split(".")):
                owner = getattr(owner, part)
            timed = _timed(getattr(owner, last), step, steps_s)
            patches.enter_context(mock.patch.object(owner, last, timed))
        yield steps_s


def _timed(call: Callable[..., Any], step: str, steps_s: dict[str, float]) -> Callable[..., Any]:
    def timed(*args: Any, **kwargs: Any) -> Any:
        start = time.perf_counter()
        try:
            return call(*args, **kwargs)
        finally:
            steps_s[step] = time.perf_counter() - start

    return timed


def _time_bare_inserts() -> tuple[float, int]:
    """Statements and letters once more, as rows in tables of their own; JSON is written anew."""
    from django.db import connection, transaction

    from billing.models import Statement
    from studio.models import Notice

    copies = [_copy_of(model) for model in (Statement, Notice)]
    with connection.cursor() as cursor:
        start = time.perf_counter()
        with transaction.atomic():
            for insert, rows, json_columns in copies:
                cursor.executemany(insert, [_written(row, json_columns) for row in rows])
        return time.perf_counter() - start, sum(len(rows) for _, rows, _ in copies)


def _copy_of(model: Any) -> tuple[str, list[tuple[Any, ...]], set[int]]:
    """The insertion into an empty table like the model's, its rows, and which columns are JSON."""
    from django.db import connection
    from django.db.models import JSONField

    fields = model._meta.concrete_fields
    table = f"bare_{model._meta.model_name}"
    with connection.cursor() as cursor:
        cursor.execute(f"CREATE TABLE {table} AS SELECT * FROM {model._meta.db_table} WHERE 1 = 0")  # noqa: S608
    places = ", ".join(["%s"] * len(fields))
    rows = list(model.objects.order_by("pk").values_list(*(field.attname for field in fields)))
    json_columns = {n for n, field in enumerate(fields) if isinstance(field, JSONField)}
    columns = ", ".join(connection.ops.quote_name(field.column) for field in fields)
    return f"INSERT INTO {table} ({columns}) VALUES ({places})", rows, json_columns  # noqa: S608


def _written(row: tuple[Any, ...], json_columns: set[int]) -> list[Any]:
    return [json.dumps(cell) if n in json_columns else cell for n, cell in enumerate(row)]


if __name__ == "__main__":
    main()
