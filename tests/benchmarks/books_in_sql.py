"""What the books are held against: the same figures by one hand-written SQL statement each.

`SUMS` only adds up: for each account opening, charges, credits, payments and closing of March, one
row each into a bare table without keys, indexes or triggers. `CONTENTS` and `LETTERS` also leave
what a close has to leave: beside the sums each statement's content as JSON, lines with their
working, and a letter for each person. They check nothing, hash nothing and number nothing.
`BALANCES` sums the whole journal until a day.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db import connection, transaction

TOTALS = """
    SELECT a.holder_id,
        sum(CASE WHEN e."on" < '2026-03-01' THEN p.amount_minor ELSE 0 END) AS opening,
        sum(CASE WHEN e."on" >= '2026-03-01' AND p.amount_minor > 0
            THEN p.amount_minor ELSE 0 END) AS charges,
        sum(CASE WHEN e."on" >= '2026-03-01' AND p.amount_minor < 0
            AND e.source NOT LIKE 'payment:%%' THEN -p.amount_minor ELSE 0 END) AS credits,
        sum(CASE WHEN e."on" >= '2026-03-01' AND p.amount_minor < 0
            AND e.source LIKE 'payment:%%' THEN -p.amount_minor ELSE 0 END) AS payments,
        sum(p.amount_minor) AS closing
    FROM billing_posting p
    JOIN billing_journalentry e ON e.id = p.entry_id
    JOIN billing_ledgeraccount a ON a.id = p.account_id
    WHERE a.holder_id IS NOT NULL AND e.posted_at IS NOT NULL AND e."on" < '2026-04-01'
    GROUP BY a.holder_id
"""
SUMS = f"INSERT INTO bare_sums {TOTALS}"
CONTENTS = f"""
    INSERT INTO bare_statements
    SELECT t.*, [object](
        'account', t.holder_id, 'first_day', '2026-03-01', 'last_day', '2026-03-31',
        'issued_on', '2026-04-02', 'due_on', '2026-04-16', 'currency', 'EUR', 'language', 'en',
        'opening_minor', t.opening, 'charges_minor', t.charges, 'credits_minor', t.credits,
        'payments_minor', t.payments, 'closing_minor', t.closing, 'lines', of_account.lines
    )
    FROM ({TOTALS}) t
    JOIN (
        SELECT s.account_id, [array]([object](
            'kind', 'charge', 'entry', e.id, 'on', e."on", 'source', e.source,
            'amount_minor', s.amount_minor, 'split_minor', s.split_minor,
            'area_mm2', s.area_mm2, 'steps', s.working -> 'steps',
            'own_count', s.working -> 'own_count', 'working', s.working -> 'sentences',
            'share_of_mm2', s.working -> 'split' -> 'divisor_mm2',
            'firing', f.id, 'stage', f.stage, 'cone', f.cone, 'kiln', k.name,
            'slip', b.slip, 'member', m.name,
            'text', f.stage || ' firing ' || f.id || ' to cone ' || f.cone || ' in ' || k.name
        )) AS lines
        FROM billing_share s
        JOIN billing_firingcost c ON c.id = s.cost_id
        JOIN billing_journalentry e ON e.id = c.entry_id
        JOIN firings_firing f ON f.id = c.firing_id
        JOIN firings_kiln k ON k.id = f.kiln_id
        JOIN firings_booking b ON b.id = s.booking_id
        JOIN studio_person m ON m.id = b.member_id
        WHERE e.posted_at IS NOT NULL AND e."on" >= '2026-03-01' AND e."on" < '2026-04-01'
        GROUP BY s.account_id
    ) of_account ON of_account.account_id = t.holder_id
"""  # noqa: S608
LETTERS = """
    INSERT INTO bare_letters
    SELECT p.id, p.email, 'statement:' || s.account_id || ':' || p.id, [object](
        'first_day', '2026-03-01', 'due_on', '2026-04-16', 'currency', 'EUR', 'language', 'en',
        'opening_minor', s.opening, 'charges_minor', s.charges, 'credits_minor', s.credits,
        'payments_minor', s.payments, 'closing_minor', s.closing
    )
    FROM bare_statements s JOIN studio_person p ON p.account_id = s.account_id
    WHERE p.is_active
"""
BALANCES = """
    SELECT a.holder_id, sum(p.amount_minor)
    FROM billing_posting p
    JOIN billing_journalentry e ON e.id = p.entry_id
    JOIN billing_ledgeraccount a ON a.id = p.account_id
    WHERE a.holder_id IS NOT NULL AND e.posted_at IS NOT NULL AND e."on" <= %s
    GROUP BY a.holder_id
"""
BALANCE = BALANCES.replace("a.holder_id IS NOT NULL", "a.holder_id = %s")
SUM_COLUMNS = "account_id bigint, opening bigint, charges bigint, credits bigint, payments bigint,"
TABLES = (
    f"CREATE TABLE bare_sums ({SUM_COLUMNS} closing bigint)",
    f"CREATE TABLE bare_statements ({SUM_COLUMNS} closing bigint, content [json])",
    "CREATE TABLE bare_letters (person_id bigint, address text, key text, facts [json])",
)
WORDS = {
    "sqlite": {"[object]": "json_object", "[array]": "json_group_array", "[json]": "text"},
    "postgresql": {"[object]": "jsonb_build_object", "[array]": "jsonb_agg", "[json]": "jsonb"},
}


class _NotKept(Exception):
    """Takes back what was only measured."""


@contextmanager
def not_kept() -> Iterator[None]:
    """A transaction that is always rolled back."""
    try:
        with transaction.atomic():
            yield
            raise _NotKept
    except _NotKept:
        pass


def make_bare_tables() -> None:
    for table in TABLES:
        run(table)


def run(sql: str, *values: Any) -> list[tuple[Any, ...]]:
    """One statement in the engine's own words for JSON; its rows, where it has any."""
    for word, ours in WORDS[connection.vendor].items():
        sql = sql.replace(word, ours)
    with connection.cursor() as cursor:
        cursor.execute(sql, values)
        return cursor.fetchall() if cursor.description else []
