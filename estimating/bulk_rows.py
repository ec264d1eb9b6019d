"""Many new rows of one table in one stream: COPY on PostgreSQL, executemany on SQLite; in the caller's transaction.

Rows go past `save`, so only what was checked field by field comes here. The databases' own constraints and triggers
hold as ever.
"""

import gc
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from itertools import islice
from typing import Any

from django.db import connection, models

CHUNK = 2_000  # rows handed over at once; bounds memory


def insert_rows(model: type[models.Model], names: Sequence[str], rows: Iterable[Sequence[Any]]) -> None:
    """Insert `rows`, whose values stand in the order of the fields `names` and are None, whole numbers or text.

    Money, days and JSON come as text, exactly as they are to be kept; no float passes here. A field of the model that
    is not named takes its null, so name every one that may not be null.
    """
    columns = [model._meta.get_field(name).column for name in names]
    quoted = ", ".join(f'"{column}"' for column in columns)
    table = f'"{model._meta.db_table}"'
    with connection.cursor() as cursor, connection.wrap_database_errors:
        if connection.vendor == "postgresql":
            with cursor.copy(f"COPY {table} ({quoted}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            # The driver's own cursor: Django's would look at every statement for its log.
            sql = f"INSERT INTO {table} ({quoted}) VALUES ({', '.join('?' * len(columns))})"
            raw = connection.connection.cursor()
            for chunk in _chunks(rows):
                raw.executemany(sql, chunk)


@contextmanager
def uncollected() -> Iterator[None]:
    """While many plain rows are made, no search for cycles: there are none, and each search goes through all rows."""
    was = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was:
            gc.enable()


def _chunks(rows: Iterable[Sequence[Any]]) -> Iterator[list[Sequence[Any]]]:
    remaining = iter(rows)
    while chunk := list(islice(remaining, CHUNK)):
        yield chunk
