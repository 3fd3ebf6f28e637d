"""The books against the clock: splits, month close, balances and statement PDFs, in one run.

    python -m tests.benchmarks.books [--engines sqlite postgresql] [--accounts 1000 10000]
                                     [--postings 10000 1000000] [--firings 60]

Each line holds one deed of the product against a yardstick on the same data, in the same process
and on the same database (`tests/benchmarks/books_in_sql.py` says what each SQL does), and says how
time grows with size. Each time is the best of several; closes and SQL are rolled back, except the
last close. PostgreSQL is the server of the tests, without fsync, a database for each measure.
"""

from __future__ import annotations

import argparse
import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from typing import Any
from unittest import mock
from urllib.parse import urlsplit

from tests.run import URLS, servers

REPEATS = 3
Measured = dict[str, float]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--engines", nargs="+", default=["sqlite", "postgresql"])
    parser.add_argument("--accounts", nargs=2, type=int, default=[1000, 10_000])
    parser.add_argument("--postings", nargs=2, type=int, default=[10_000, 1_000_000])
    parser.add_argument("--firings", type=int, default=60)
    parser.add_argument("--measure", choices=MEASURES, help=argparse.SUPPRESS)
    parser.add_argument("--size", type=int, help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.measure:
        json.dump(MEASURES[asked.measure](asked), sys.stdout)
        return
    _print_all(asked)


def _print_all(asked: argparse.Namespace) -> None:
    _line("", "ours", "yardstick", "ratio")
    _print_pair("splits", [20, 2000], [_in_child(asked, "splits", n, {}) for n in (20, 2000)])
    for engine in asked.engines:
        with servers() if engine == "postgresql" else nullcontext({}) as addresses:
            for measure, sizes in (("close", asked.accounts), ("balances", asked.postings)):
                found = [_in_child(asked, measure, size, addresses) for size in sizes]
                _print_pair(f"{engine} {measure}", sizes, found)
    _print_pair("PDFs, by lines", [2, 20], [_in_child(asked, "pdfs", n, {}) for n in (2, 20)])


def _in_child(
    asked: argparse.Namespace, measure: str, size: int, addresses: Mapping[str, str]
) -> Measured:
    """Each measure in a process and a database of its own."""
    kept = {name: value for name, value in os.environ.items() if name not in URLS}
    words = ["--measure", measure, "--size", str(size), "--firings", str(asked.firings)]
    with tempfile.TemporaryDirectory(prefix="wb-") as home, _own_database(addresses) as database:
        told = {"WAREBOARD_HOME": home, "WAREBOARD_MODE": "demo"}
        child = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.books", *words],
            env={**kept, **told, **addresses, **database},
            stdout=subprocess.PIPE,
            check=True,
        )
    found: Measured = json.loads(child.stdout)
    return found


@contextmanager
def _own_database(addresses: Mapping[str, str]) -> Iterator[dict[str, str]]:
    if "DATABASE_URL" not in addresses:
        yield {}
        return
    import psycopg

    url = addresses["DATABASE_URL"]
    with psycopg.connect(url, autocommit=True) as server:
        server.execute("CREATE DATABASE books")
        try:
            yield {"DATABASE_URL": urlsplit(url)._replace(path="/books").geturl()}
        finally:
            server.execute("DROP DATABASE books WITH (FORCE)")


def _print_pair(title: str, sizes: Sequence[int], found: Sequence[Measured]) -> None:
    """What was measured at two sizes; a name with a bar is ours | yardstick."""
    sys.stdout.write(f"\n{title}\n")
    for size, measured in zip(sizes, found, strict=True):
        for name, ours_s in measured.items():
            deed, _, yardstick = name.partition(" | ")
            yardstick_s = measured.get(yardstick)
            ratio = f"{ours_s / yardstick_s:.2f}" if yardstick_s else ""
            _line(f"  {size:>9,}  {deed}", _ms(ours_s), _ms(yardstick_s), ratio)
    times = sizes[1] / sizes[0]
    for name, small_s in found[0].items():
        grown = found[1][name] / small_s
        _line(f"  x {times:,.0f}  {name.partition(' | ')[0]}", f"x {grown:.1f}")
    sys.stdout.flush()


def _line(name: str, ours: str, yardstick: str = "", ratio: str = "") -> None:
    sys.stdout.write(f"{name:<62}{ours:>14}{yardstick:>14}{ratio:>8}\n")


def _ms(seconds: float | None) -> str:
    return "" if seconds is None else f"{seconds * 1000:,.3f} ms"


def _best(deed: Callable[[], Any], repeats: int = REPEATS) -> float:
    """Seconds of the quickest of several."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        deed()
        times.append(time.perf_counter() - start)
    return min(times)


def _start_django() -> None:
    import django

    os.environ["DJANGO_SETTINGS_MODULE"] = "studio.settings"
    django.setup()
    from django.core.management import call_command

    call_command("migrate", verbosity=0)


# ---- what is measured, each in a child


def measure_splits(asked: argparse.Namespace) -> Measured:
    """One pool over `size` bookings: our split with its workings, ours bare, and numpy's."""
    import numpy as np

    from billing.calculations.splitting import ShareRequest, largest_remainder, split_pool

    areas = [(number, 3_000 + 7 * (number * 37 % 400)) for number in range(1, asked.size + 1)]
    requests = [ShareRequest(number, area_mm2) for number, area_mm2 in areas]
    weights = np.array([area_mm2 for _, area_mm2 in areas])
    pool_minor = 123_457

    def in_numpy() -> Any:
        parts, remainders = np.divmod(pool_minor * weights, weights.sum())
        left_over = pool_minor - parts.sum()
        parts[np.argsort(-remainders, kind="stable")[:left_over]] += 1
        return parts

    ours = split_pool(pool_minor, requests, "used", 10**9)
    if [share.amount_minor for share in ours.shares] != in_numpy().tolist():
        sys.exit("numpy's split differs from ours")
    many = range(max(1, 20_000 // asked.size))

    def each(split: Callable[[], Any]) -> float:
        return _best(lambda: [split() for _ in many]) / len(many)

    numpy = "numpy's largest remainder"
    return {
        f"largest remainder | {numpy}": each(lambda: largest_remainder(pool_minor, areas)),
        f"split of a firing, every share with its working | {numpy}": each(
            lambda: [
                share.working for share in split_pool(pool_minor, requests, "used", 10**9).shares
            ]
        ),
        numpy: each(in_numpy),
    }


def measure_close(asked: argparse.Namespace) -> Measured:
    """Closing March for `size` accounts, and SQL that sums it, or writes it, by account."""
    _start_django()
    from billing.actions import close_month as closing
    from studio.actions.outbox import without_nudges
    from tests.benchmarks import books_in_sql as sql
    from tests.benchmarks.invented_books import fire_a_month, gather_statistics, open_books
    from tests.billing import scene

    treasurer = open_books(asked.size)
    fire_a_month(asked.firings)
    sql.make_bare_tables()
    gather_statistics()

    def in_sql(*statements: str) -> float:
        def all_of_them() -> None:
            with sql.not_kept():
                for statement in statements:
                    sql.run(statement)

        return _best(all_of_them)

    def close() -> None:
        closing.close_month(by=treasurer, at=scene.AFTER_MARCH, month=scene.MARCH)

    def rehearse() -> None:
        try:
            with mock.patch.object(closing, "record_deed", side_effect=InterruptedError):
                close()
        except InterruptedError:
            pass

    sums_s, rows_s = in_sql(sql.SUMS), in_sql(sql.CONTENTS, sql.LETTERS)
    with without_nudges():
        rehearsed_s = _best(rehearse, REPEATS - 1)
        close_s = min(rehearsed_s, _best(close, 1))
    sql.run(sql.SUMS)
    _compare_statements(sql.run("SELECT * FROM bare_sums ORDER BY 1"))
    sums, rows = (
        "SQL that only sums, and inserts that",
        "SQL that sums, writes contents and letters",
    )
    return {
        f"close_month | {rows}": close_s,
        f"the same | {sums}": close_s,
        rows: rows_s,
        sums: sums_s,
    }


def _compare_statements(summed: Sequence[tuple[Any, ...]]) -> None:
    from billing.models import Statement

    issued = Statement.objects.order_by("account").values_list(
        "account",
        "opening_minor",
        "charges_minor",
        "credits_minor",
        "payments_minor",
        "closing_minor",
    )
    if [tuple(map(int, row)) for row in summed] != list(issued):
        sys.exit("the statements say something else than SQL")


def measure_balances(asked: argparse.Namespace) -> Measured:
    """Balances on days of years of postings, all accounts at once and one, against whole sums."""
    _start_django()
    from datetime import timedelta

    from billing.actions.balances import balance_minor_of, owed_on
    from studio.models import Account
    from tests.benchmarks import books_in_sql as sql
    from tests.benchmarks.invented_books import (
        LAST_MONTH,
        gather_statistics,
        months,
        open_books,
        post_years,
    )

    open_books(1000)
    post_years(asked.size)
    gather_statistics()
    account = Account.objects.get(number=500)
    days = {
        "today": LAST_MONTH + timedelta(days=27),
        "on a day three years ago": list(months())[24] + timedelta(days=14),
    }
    whole, one = "SQL over the whole journal", "SQL over the account's postings"
    found: Measured = {}
    for name, day in days.items():
        summed = {pk: int(minor) for pk, minor in sql.run(sql.BALANCES, day) if minor}
        if summed != {pk: minor for pk, minor in owed_on(day).items() if minor}:
            sys.exit(f"the balances on {day} differ from the journal's sums")
        found[f"all balances {name} | {whole} {name}"] = _best(lambda day=day: owed_on(day))
        found[f"one balance {name} | {one} {name}"] = _best(
            lambda day=day: balance_minor_of(account, day)
        )
        found[f"{whole} {name}"] = _best(lambda day=day: sql.run(sql.BALANCES, day))
        found[f"{one} {name}"] = _best(lambda day=day: sql.run(sql.BALANCE, account.pk, day))
    return found


def measure_pdfs(asked: argparse.Namespace) -> Measured:
    """One statement with `size` firings, again and again in one process, each with a new number."""
    _start_django()
    from billing.actions.close_month import close_month
    from billing.models import Statement
    from billing.statement_pdf import render_statement_pdf
    from studio.actions.outbox import without_nudges
    from tests.benchmarks.invented_books import fire_a_month, open_books
    from tests.billing import scene

    treasurer = open_books(5)
    fire_a_month(asked.size // 2)
    with without_nudges():
        close_month(by=treasurer, at=scene.AFTER_MARCH, month=scene.MARCH)
    statement = Statement.objects.first()
    lines = statement.content["lines"]
    statement.content["lines"] = [lines[n % len(lines)] for n in range(asked.size)]

    def render(count: int = 25) -> None:
        for _ in range(count):
            statement.content["number"] += 1
            render_statement_pdf(statement)

    render(1)
    return {"one PDF": _best(render) / 25}


MEASURES = {
    "splits": measure_splits,
    "close": measure_close,
    "balances": measure_balances,
    "pdfs": measure_pdfs,
}

if __name__ == "__main__":
    main()
