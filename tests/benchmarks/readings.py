"""How readings come in: by API and by file, against a bare bulk insert of the same rows.

    python -m tests.benchmarks.readings [--rows 100000] [--long 1000000]

One run prints, on one database: readings per second by API (batches of 10,000) and by CSV, beside
a bare bulk insert of the very same rows, ready made, into a table like it; the time to update the
summary for a batch as a log grows; the time of the firing page's data for a log of `--rows`; how
much memory grows while a file of `--long` lines comes in; and the errors of the heat-work model.
On SQLite, or on PostgreSQL with DATABASE_URL set to an empty database; with --servers it starts a
PostgreSQL of its own, as the tests do. No nudge is sent: a broker is not part of it.
"""

from __future__ import annotations

import argparse
import json
import os
import resource
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

BATCH = 10_000
ROUNDS = 3
BARE = "bare insert, one transaction"
BARE_BATCHES = f"bare insert, {BATCH:,} a transaction"
COPY = "bare COPY, one transaction"
OBJECTS = "bulk_create of ready objects"
GROWN_TO = (1_000, 10_000, 100_000, 1_000_000)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--rows", type=int, default=100_000)
    parser.add_argument("--long", type=int, default=1_000_000)
    parser.add_argument("--servers", action="store_true")
    arguments = parser.parse_args()
    if arguments.servers:
        _run_on_servers()
        return
    _start_django()
    from django.conf import settings

    from studio.actions.outbox import without_nudges

    with without_nudges():
        _print_ingest(arguments.rows)
        _print_page()
        _print_growth(arguments.long)
        _print_long_file(settings.HOME, arguments.long)
    _print_heat_work()


def _run_on_servers() -> None:
    from tests.run import servers

    words = [word for word in sys.argv[1:] if word != "--servers"]
    with servers() as addresses:
        command = [sys.executable, "-m", "tests.benchmarks.readings", *words]
        subprocess.run(command, env={**os.environ, **addresses}, check=True)


def _start_django() -> None:
    """A fresh home with a broker for the counters of the rate limit, as the tests have it."""
    import tests.environment

    assert tests.environment
    import django

    django.setup()
    from django.core.management import call_command
    from django.db import connection

    call_command("migrate", verbosity=0)
    print(f"database: {connection.vendor}, Python {sys.version.split()[0]}\n")


# --- A kiln, its firings and its readings ---------------------------------------------------


def _firing(name: str) -> Any:
    """A firing of a kiln of its own, started three weeks ago."""
    from django.utils import timezone

    from studio.models import Person, Role
    from tests import scene

    crew = Person.objects.holding(Role.CREW).first() or scene.crew()
    member = Person.objects.filter(name="Ines").first() or scene.person("Ines")
    at = timezone.now().replace(microsecond=0) - timedelta(days=21)
    kiln = scene.kiln(name=name)
    scene.booking(member, at=at)
    return scene.started(crew, scene.loading(crew, kiln, at=at), at=at)


def _rows(count: int) -> Iterator[tuple[int, float, float, float]]:
    """Second, temperature, set point and power of a log of one reading a second, up and down."""
    for second in range(count):
        set_point_c = 20 + 1200 * (1 - abs(2 * second / count - 1))
        yield second, round(set_point_c - second % 7 * 0.3, 1), round(set_point_c, 1), 4000.0


def _csv(firing: Any, count: int) -> Iterator[bytes]:
    yield b"time,temp C,set point C,power W\n"
    lines: list[str] = []
    for second, temp_c, set_point_c, power_w in _rows(count):
        at = firing.started_at + timedelta(seconds=second)
        lines.append(f"{at:%Y-%m-%dT%H:%M:%SZ},{temp_c},{set_point_c},{power_w}\n")
        if len(lines) == BATCH:
            yield "".join(lines).encode()
            lines = []
    yield "".join(lines).encode()


def _batches(firing: Any, count: int) -> list[bytes]:
    bodies = []
    readings: list[dict[str, Any]] = []
    for second, temp_c, set_point_c, power_w in _rows(count):
        at = firing.started_at + timedelta(seconds=second)
        readings.append(
            {
                "at": at.isoformat(),
                "temp_c": temp_c,
                "set_point_c": set_point_c,
                "power_w": power_w,
            }
        )
        if len(readings) == BATCH:
            bodies.append(json.dumps({"readings": readings}).encode())
            readings = []
    return [*bodies, json.dumps({"readings": readings}).encode()] if readings else bodies


# --- In, against a bare insert --------------------------------------------------------------


def _print_ingest(count: int) -> None:
    """The best of some rounds: a machine is never quite idle."""
    rounds = [_ingest_once(number, count) for number in range(ROUNDS)]
    best = {
        name: (min(one[name][0] for one in rounds), min(one[name][1] for one in rounds))
        for name in rounds[0]
    }
    bare_s, bare_cpu_s = best[BARE]
    many_s, _ = best[BARE_BATCHES]
    print(f"readings in, {count:,} of them, best of {ROUNDS}")
    print(f"{'':38}  per second   of bare   of batches   CPU of bare")
    for name, (took_s, cpu_s) in best.items():
        shares = f"{bare_s / took_s:9.0%} {many_s / took_s:12.0%} {bare_cpu_s / cpu_s:13.0%}"
        print(f"  {name:34} {count / took_s:12,.0f} {shares}")
    print("  (CPU is this process only; on PostgreSQL the server's is not in it)\n")


def _ingest_once(number: int, count: int) -> dict[str, tuple[float, float]]:
    from django.test import Client
    from django.utils import timezone
    from rest_framework.test import APIClient

    from firings.actions.kilns import issue_kiln_token
    from studio.models import Person, Role

    firing, by_file = _firing(f"By API {number}"), _firing(f"By file {number}")
    Client(SERVER_NAME="localhost").get("/")  # what is loaded with the first request
    chief = Person.objects.holding(Role.MANAGER).first()
    _, secret = issue_kiln_token(by=chief, at=timezone.now(), kiln=firing.kiln, name="bench")
    client = APIClient(SERVER_NAME="localhost")
    client.credentials(HTTP_AUTHORIZATION=f"Bearer {secret}")
    bodies, path = _batches(firing, count), f"/api/v1/kilns/{firing.kiln.pk}/readings/"

    def post_all() -> None:
        for body in bodies:
            answer = client.post(path, body, content_type="application/json")
            assert answer.status_code == 200, answer.content

    pieces = list(_csv(by_file, count))
    return {
        **_bare_times(count, number),
        f"by API, {BATCH:,} a batch": _timed(post_all),
        "by CSV": _timed(lambda: _take_in(by_file, pieces)),
    }


def _timed(call: Callable[[], object]) -> tuple[float, float]:
    start, cpu = time.perf_counter(), time.process_time()
    call()
    return time.perf_counter() - start, time.process_time() - cpu


def _take_in(firing: Any, pieces: Any) -> float:
    from django.utils import timezone

    from firings.actions.take_in_log import take_in_log
    from firings.calculations.log_preview import preview_log
    from studio.models import Person, Role

    pieces = iter(pieces)
    first = next(pieces), next(pieces)
    seen = preview_log(first)

    def whole() -> Iterator[bytes]:
        yield from first
        yield from pieces

    crew = Person.objects.holding(Role.CREW).first()
    start = time.perf_counter()
    take_in_log(
        by=crew,
        at=timezone.now(),
        firing=firing,
        log=whole(),
        mapping=seen.mapping(),
        titles=seen.header,
    )
    return time.perf_counter() - start


def _bare_times(count: int, number: int) -> dict[str, tuple[float, float]]:
    """The same rows into the same table, ready as the driver takes them, and as objects."""
    from django.db import connection, transaction

    from firings.models import Reading

    firing = _firing(f"Bare {number}")
    fields = [field for field in Reading._meta.concrete_fields if field.attname != "id"]
    names = ", ".join(connection.ops.quote_name(field.column) for field in fields)
    places = ", ".join(["%s"] * len(fields))
    insert = f"INSERT INTO {Reading._meta.db_table} ({names}) VALUES ({places})"  # noqa: S608
    objects = [
        Reading(
            firing=firing,
            at=firing.started_at + timedelta(seconds=second),
            temp_c=temp_c,
            set_point_c=set_point_c,
            power_w=power_w,
            source="logger",
        )
        for second, temp_c, set_point_c, power_w in _rows(count)
    ]
    ready = [
        tuple(f.get_db_prep_save(getattr(one, f.attname), connection) for f in fields)
        for one in objects
    ]

    def insert_all(size: int) -> None:
        with connection.cursor() as cursor:
            for at in range(0, count, size):
                with transaction.atomic():
                    cursor.executemany(insert, ready[at : at + size])

    def copy_all() -> None:
        with transaction.atomic(), connection.cursor() as cursor:
            copying = cursor.copy(f"COPY {Reading._meta.db_table} ({names}) FROM STDIN")
            with copying as copy:
                for row in ready:
                    copy.write_row(row)

    times = {}
    if connection.vendor == "postgresql":
        times[COPY] = _timed(copy_all)
        firing.readings.all().delete()
    for name, call in (
        (BARE, lambda: insert_all(count)),
        (BARE_BATCHES, lambda: insert_all(BATCH)),
        (OBJECTS, lambda: Reading.objects.bulk_create(objects, batch_size=500)),
    ):
        times[name] = _timed(call)
        firing.readings.all().delete()
    return times


# --- Summary, page, memory ------------------------------------------------------------------


def _print_growth(longest: int) -> None:
    """A hundred readings more, for logs of ever more readings; and a hundred late ones."""
    firing = _firing("Growing")
    print("summary and short log of a batch of 100 readings       in order          late by 200")
    done = 0
    for target in GROWN_TO:
        if target > longest:
            break
        while done < target:
            count = min(20_000, target - done)
            _write(firing, done, count)
            done += count
        took = []
        for _ in range(5):
            took.append(_write(firing, done, 100))
            done += 100
        late = [_write(firing, done - 200 - number * 10, 10, 500_000) for number in range(3)]
        times = f"{min(took) * 1e3:7.1f} ms {min(late) * 1e3:15.1f} ms"
        print(f"  after {target:9,} readings {'':24} {times}")
    firing.save()
    print()


def _write(firing: Any, first: int, count: int, shift_us: int = 0) -> float:
    """Write some more readings; how long it took."""
    from django.db import transaction

    from firings.actions.readings import write_readings

    batch = _columns(firing, first, count, shift_us)
    start = time.perf_counter()
    with transaction.atomic():
        write_readings(firing, batch, source="logger", at=firing.started_at)
    return time.perf_counter() - start


def _columns(firing: Any, first: int, count: int, shift_us: int = 0) -> Any:
    import numpy as np

    from firings.calculations.reading_columns import ReadingColumns, us_of

    seconds = np.arange(first, first + count)
    temp_c = 620 + 600 * np.sin(seconds / 20_000) + seconds % 7 * 0.3
    at_us = us_of(firing.started_at) + seconds * 1_000_000 + shift_us
    return ReadingColumns(at_us, {"temp_c": temp_c, "power_w": np.full(count, 4000.0)})


def _print_page() -> None:
    from django.test import Client

    from firings.actions.log_summary import short_log
    from firings.calculations.log_stretches import thinned
    from firings.models import Firing
    from studio.models import Person, Role

    firing = Firing.objects.get(kiln__name="By API 0")
    took = []
    for _ in range(5):
        start = time.perf_counter()
        points = thinned(short_log(firing), 800)
        took.append(time.perf_counter() - start)
    start = time.perf_counter()
    whole = sum(1 for _ in firing.readings.order_by("at").values_list("at", "temp_c"))
    whole_s = time.perf_counter() - start
    client = Client(SERVER_NAME="localhost")
    client.force_login(Person.objects.holding(Role.CREW).first())
    client.get(f"/firings/{firing.pk}/")
    start = time.perf_counter()
    assert client.get(f"/firings/{firing.pk}/").status_code == 200
    page_s = time.perf_counter() - start
    chart = f"/api/v1/firings/{firing.pk}/chart/"
    assert client.get(chart).status_code == 200
    start = time.perf_counter()
    answer = client.get(chart)
    chart_s = time.perf_counter() - start
    print(f"page of a firing with {whole:,} readings")
    print(f"  its data, {len(points)} points                  {min(took) * 1e3:10.1f} ms")
    size_kb = len(answer.content) / 1e3
    print(f"  all of its chart, {size_kb:3.0f} KB                {chart_s * 1e3:10.1f} ms")
    print(f"  only fetching time and temperature     {whole_s * 1e3:10.1f} ms")
    print(f"  the whole page                         {page_s * 1e3:10.1f} ms\n")


def _print_long_file(folder: Path, count: int) -> None:
    """Take in a long file; the memory is that of this process, watched from a thread."""
    firing = _firing("Long file")
    path = folder / "long.csv"
    with path.open("wb") as file:
        file.writelines(_csv(firing, count))
    with path.open("rb") as file:
        pieces = iter(lambda: file.read(64 * 1024), b"")
        before_mb, growth = _resident_mb(), _Watched()
        with growth:
            took_s = _take_in(firing, pieces)
    print(f"a file of {count:,} lines, {path.stat().st_size / 1e6:.0f} MB")
    print(f"  taken in                               {count / took_s:10,.0f} lines a second")
    print(f"  memory before, and at most while       {before_mb:10.0f} MB {growth.most_mb:6.0f} MB")
    for share, most_mb in growth.by_quarter():
        print(f"    at most in {share} of the time             {most_mb:10.0f} MB")
    print(f"  most the process ever had              {_most_mb():10.0f} MB\n")


class _Watched:
    """Looks at the memory of this process every hundredth of a second."""

    def __init__(self) -> None:
        self._seen: list[float] = []
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._look, daemon=True)

    def __enter__(self) -> None:
        self._thread.start()

    def __exit__(self, *_: object) -> None:
        self._over.set()
        self._thread.join()

    def _look(self) -> None:
        while not self._over.wait(0.01):
            self._seen.append(_resident_mb())

    @property
    def most_mb(self) -> float:
        return max(self._seen)

    def by_quarter(self) -> list[tuple[str, float]]:
        size = max(1, len(self._seen) // 4)
        names = (
            "the first quarter ",
            "the second quarter",
            "the third quarter ",
            "the last quarter  ",
        )
        return [(n, max(self._seen[i * size : (i + 1) * size])) for i, n in enumerate(names)]


def _resident_mb() -> float:
    pages = int(Path("/proc/self/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


def _most_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


# --- Heat work ------------------------------------------------------------------------------


def _print_heat_work() -> None:
    from firings.calculations.cone_kinetics import end_point_c, left_out_errors
    from firings.calculations.cones import CONES, published_equivalents_c

    print("heat work: prediction - chart in C           15 C/h      60 C/h     150 C/h        all")
    print("                                          mean  max   mean  max   mean  max  mean   RMS")
    fit = [
        (rate, end_point_c(cone, rate) - temp_c)
        for cone in CONES
        for rate, temp_c in published_equivalents_c(cone).items()
        if len(published_equivalents_c(cone)) == 3
    ]
    alone = [(one.rate_c_per_h, one.error_c) for one in left_out_errors(with_neighbours=False)]
    pulled = [(one.rate_c_per_h, one.error_c) for one in left_out_errors()]
    for name, errors in (
        ("fitted to all rates", fit),
        ("rate left out, each cone alone", alone),
        ("rate left out, with neighbours", pulled),
    ):
        print(f"  {name:36}", end="")
        for rate in (15, 60, 150):
            of_rate = [abs(error) for found, error in errors if found == rate]
            print(f"{sum(of_rate) / len(of_rate):7.1f} {max(of_rate):4.1f}", end="")
        mean = sum(abs(error) for _, error in errors) / len(errors)
        rms = (sum(error**2 for _, error in errors) / len(errors)) ** 0.5
        print(f"{mean:6.1f} {rms:5.1f}")


if __name__ == "__main__":
    main()
