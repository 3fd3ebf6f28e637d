"""Insert very many rows of one model in the way that costs the database and us least."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from django.db import connection, models


def insert_many(
    model: type[models.Model],
    names: Sequence[str],
    rows: Iterable[Sequence[int | str | None]],
    same: Mapping[str, Any],
) -> None:
    """Insert `rows`, whose cells are the columns `names`; what `same` names is alike in all.

    For a deed that writes tens of thousands: no object is made for a row, and PostgreSQL takes
    them by COPY. A cell is a number or text, also in a JSON column. Columns that neither names
    have the model's default. The database checks what it checks otherwise; the keys it gives are
    not read back.
    """
    meta = model._meta
    alike = [f for f in meta.concrete_fields if not f.primary_key and f.attname not in names]
    constant = [
        field.get_db_prep_save(same.get(field.attname, field.get_default()), connection)
        for field in alike
    ]
    columns = [*names, *(field.get_attname_column()[1] for field in alike)]
    quoted = ", ".join(connection.ops.quote_name(str(column)) for column in columns)
    into = f"{connection.ops.quote_name(meta.db_table)} ({quoted})"
    # first all rows, for some ask the database something, which a COPY keeps waiting
    whole = [(*row, *constant) for row in rows]
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {into} FROM STDIN") as copy:
                for row in whole:
                    copy.write_row(row)
        else:
            places = ", ".join(["%s"] * len(columns))
            cursor.executemany(f"INSERT INTO {into} VALUES ({places})", whole)  # noqa: S608
