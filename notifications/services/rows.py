"""Writes many rows at once without a model instance for each.

Making instances, and a statement with a placeholder for every value, costs several times what
the database needs for the rows, and the engine writes two rows for every notice.
"""

from collections.abc import Sequence
from datetime import datetime
from typing import Any
from uuid import UUID

from django.db import connection, models

Row = Sequence[Any]


def rows_insert(
    model: type[models.Model],
    columns: Sequence[str],
    rows: Sequence[Row],
    *,
    skip_present: bool = False,
) -> None:
    """Insert rows given as values for `columns` (field names); defaults are not filled in.

    `skip_present` passes over rows that a unique constraint knows already.
    """
    if not rows:
        return
    quote = connection.ops.quote_name
    meta = model._meta  # noqa: SLF001  Django's documented way to a model's columns
    known = {field.name: field for field in meta.concrete_fields}
    fields = [known[name] for name in columns]
    names = ", ".join(quote(str(field.column)) for field in fields)
    begin = f"INSERT INTO {quote(meta.db_table)} ({names})"
    end = "ON CONFLICT DO NOTHING" if skip_present else ""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":  # a list for each column: as fast as copying
            lists = ", ".join(f"%s::{field.db_type(connection)}[]" for field in fields)
            values = [list(column) for column in zip(*rows, strict=True)]
            cursor.execute(f"{begin} SELECT * FROM unnest({lists}) {end}", values)  # noqa: S608  names of ours
        else:
            places = ", ".join(["%s"] * len(fields))
            stored = [[_as_sqlite_keeps_it(value) for value in row] for row in rows]
            cursor.executemany(f"{begin} VALUES ({places}) {end}", stored)


def _as_sqlite_keeps_it(value: Any) -> Any:
    if isinstance(value, UUID):
        return value.hex
    if isinstance(value, datetime):
        return connection.ops.adapt_datetimefield_value(value)
    return value
