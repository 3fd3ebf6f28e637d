"""The readings of a firing as rows: written by the thousand, and read as columns.

No objects are made of them on the way in: PostgreSQL takes them by COPY, SQLite as tuples.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from itertools import repeat
from typing import Any

import numpy as np
from django.db import connection, transaction

from firings.calculations.reading_columns import (
    VALUE_FIELDS,
    Ints,
    ReadingColumns,
    moment_of,
    us_of,
)
from firings.models import Firing, Reading

ROWS_AT_ONCE = 20_000


def write_rows(firing: Firing, batch: ReadingColumns, source: str) -> None:
    """Insert readings that are known to be new. The caller holds the firing and its transaction."""
    names = [name for name in VALUE_FIELDS if name in batch.values]
    columns = [_stored(batch, name) for name in names]
    fields = ["firing_id", "at", *names, "source"]
    if connection.vendor == "postgresql":
        _copy_rows(fields, [repeat(firing.pk), _texts(batch.at_us), *columns, repeat(source)])
        return
    rows = zip(
        repeat(firing.pk, len(batch)), _texts(batch.at_us), *columns, repeat(source), strict=False
    )
    places = ", ".join(["%s"] * len(fields))
    table = connection.ops.quote_name(Reading._meta.db_table)
    names_sql = ", ".join(connection.ops.quote_name(field) for field in fields)
    with connection.cursor() as cursor:
        cursor.executemany(f"INSERT INTO {table} ({names_sql}) VALUES ({places})", list(rows))  # noqa: S608


def _stored(batch: ReadingColumns, name: str) -> list[Any]:
    """A column as the database keeps it: the register in whole Wh."""
    if name != "register_wh":
        return batch.known(name)
    column = batch.values[name]
    if np.isnan(column).any():
        return [None if value is None else round(value) for value in batch.known(name)]
    whole: list[Any] = np.rint(column).astype(np.int64).tolist()
    return whole


def _texts(at_us: Ints) -> list[str]:
    """Moments in UTC as Django writes them into SQLite: microseconds only where there are any."""
    whole = np.datetime_as_string((at_us // 1_000_000).astype("datetime64[s]"))
    texts = "\n".join(whole.tolist()).replace("T", " ").split("\n")
    parts = at_us % 1_000_000
    if not parts.any():
        return texts
    return [
        f"{text}.{part:06d}" if part else text
        for text, part in zip(texts, parts.tolist(), strict=True)
    ]


def _copy_rows(fields: list[str], columns: list[Any]) -> None:
    """COPY in text: tabs, and \\N for what is not there. No text of ours has either."""
    moments = [f"{text}+00" for text in columns[1]]
    texts = [
        ["\\N" if value is None else str(value) for value in column] for column in columns[2:-1]
    ]
    rows = zip(
        repeat(str(next(columns[0])), len(moments)),
        moments,
        *texts,
        repeat(str(next(columns[-1]))),
        strict=False,
    )
    text = "\n".join(map("\t".join, rows))
    table = connection.ops.quote_name(Reading._meta.db_table)
    names = ", ".join(connection.ops.quote_name(field) for field in fields)
    with (
        transaction.atomic(),
        connection.cursor() as cursor,
        cursor.copy(f"COPY {table} ({names}) FROM STDIN") as copy,
    ):
        copy.write(text)


def known_times(firing: Firing, first: datetime, last: datetime) -> Ints:
    """Return the times of a span that have a reading already, in microseconds, in order."""
    times = firing.readings.filter(at__range=(first, last)).order_by("at").values_list("at")
    return np.array([us_of(at) for (at,) in times], dtype=np.int64)


def log_parts(firing: Firing, after: datetime | None = None) -> Iterator[ReadingColumns]:
    """Read a firing's log from a moment on, part by part and in order of time."""
    while True:
        rows = firing.readings.order_by("at").values_list("at", *VALUE_FIELDS)
        if after is not None:
            rows = rows.filter(at__gt=after)
        part = list(rows[:ROWS_AT_ONCE])
        if part:
            yield columns_of_rows(part)
        if len(part) < ROWS_AT_ONCE:
            return
        after = part[-1][0]


def columns_of_rows(rows: list[tuple[Any, ...]]) -> ReadingColumns:
    """Return rows of (at, then each field of a reading) as columns."""
    table = np.array([row[1:] for row in rows], dtype=np.float64)
    values = {
        name: table[:, place]
        for place, name in enumerate(VALUE_FIELDS)
        if name == "temp_c" or not np.isnan(table[:, place]).all()
    }
    return ReadingColumns(np.array([us_of(row[0]) for row in rows], dtype=np.int64), values)


def span_of(batch: ReadingColumns) -> tuple[datetime, datetime]:
    """Return the first and the last moment of readings in order of time."""
    return moment_of(batch.at_us[0]), moment_of(batch.at_us[-1])
