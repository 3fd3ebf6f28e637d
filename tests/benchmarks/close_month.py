"""How long closing a month takes for 1,000 accounts with 60 firings, against bare SQL in one run.

    python -m tests.benchmarks.close_month [--accounts 1000] [--firings 60]

The measure is the action a treasurer's button calls: balances, lines with their working, frozen
content, hash, numbered statements, notices. The bare SQL sums the same month by account and
inserts only the five figures of each statement, in one transaction. On SQLite, or on
PostgreSQL with DATABASE_URL set to an empty database.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from typing import Any

BARE_SQL = """
    INSERT INTO bare_statement
        (number, account_id, opening_minor, charges_minor, payments_minor, closing_minor)
    SELECT row_number() OVER (ORDER BY holder_id), holder_id, opening, charges, payments,
        opening + charges - payments
    FROM (
        SELECT a.holder_id,
            coalesce(sum(CASE WHEN e."on" < '2026-03-01' THEN p.amount_minor END), 0) AS opening,
            coalesce(sum(CASE WHEN e."on" >= '2026-03-01' AND p.amount_minor > 0
                THEN p.amount_minor END), 0) AS charges,
            coalesce(sum(CASE WHEN e."on" >= '2026-03-01' AND p.amount_minor < 0
                THEN -p.amount_minor END), 0) AS payments
        FROM billing_posting p
        JOIN billing_journalentry e ON e.id = p.entry_id
        JOIN billing_ledgeraccount a ON a.id = p.account_id
        WHERE a.holder_id IS NOT NULL AND e.posted_at IS NOT NULL AND e."on" < '2026-04-01'
        GROUP BY a.holder_id
    ) AS summed
"""
BARE_TABLE = """
    CREATE TABLE bare_statement (number bigint PRIMARY KEY, account_id bigint,
        opening_minor bigint, charges_minor bigint, payments_minor bigint, closing_minor bigint)
"""


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--accounts", type=int, default=1000)
    parser.add_argument("--firings", type=int, default=60)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="wb-") as folder:
        os.environ |= {"WAREBOARD_HOME": folder, "WAREBOARD_MODE": "demo"}
        _start_django()
        treasurer = _build_studio(arguments.accounts, arguments.firings)
        bare_s, rows = _time_bare_sql()
        close_s, statements = _time_close(treasurer)
    if rows != statements:
        sys.exit(f"bare SQL summed {rows} accounts, the close {statements}: they must agree")
    write = sys.stdout.write
    write(f"{statements} statements from {arguments.firings} firings\n")
    write(f"close_month   {close_s:7.3f} s\n")
    write(f"bare SQL      {bare_s:7.3f} s\n")
    write(f"ratio         {close_s / bare_s:7.1f}\n")


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


def _time_bare_sql() -> tuple[float, int]:
    from django.db import connection, transaction

    with connection.cursor() as cursor:
        cursor.execute(BARE_TABLE)
        start = time.perf_counter()
        with transaction.atomic():
            cursor.execute(BARE_SQL)
        return time.perf_counter() - start, cursor.rowcount


def _time_close(treasurer: Any) -> tuple[float, int]:
    from billing.actions.close_month import close_month
    from tests.billing import scene

    start = time.perf_counter()
    close = close_month(by=treasurer, at=scene.AFTER_MARCH, month=scene.MARCH)
    return time.perf_counter() - start, close.statements.count()


if __name__ == "__main__":
    main()
