"""Many rows written at once, past the models: by COPY on PostgreSQL, by one prepared statement on SQLite.

A COPY is asked of the driver's own cursor: Django's, where queries are counted, takes none with values.
"""

import json
from collections.abc import Iterable, Sequence
from typing import Any

from django.core.management.color import no_style
from django.db import connection, models

Values = Sequence[Any]
# Fewer rows than this are written sooner one by one.
_WORTH_COPYING = 50


def insert(model: type[models.Model], columns: dict[str, Values]) -> int:
    """Store rows given column by column, all of one length; how many.

    Columns are named as in the database; those not given hold their field's default. Signals, histories and
    checks of models are passed by: the caller answers for what the rows say. Raises ValueError for a name
    that the table has not, or a column that is too short.
    """
    given: dict[str | None, list[Any]] = {name: list(values) for name, values in columns.items()}
    count = len(next(iter(given.values())))
    unknown = set(given) - {field.column for field in model._meta.concrete_fields}
    if unknown:
        raise ValueError(f"{model._meta.db_table} has no column {', '.join(sorted(map(str, unknown)))}")
    for field in model._meta.concrete_fields:
        if field.column not in given and not field.primary_key:
            given[field.column] = [field.get_db_prep_save(_default(field), connection)] * count
    store(model._meta.db_table, [str(name) for name in given], zip(*given.values(), strict=True))
    return count


def _default(field: Any) -> Any:
    if field.has_default():
        return field.get_default()
    return None if field.null else field.get_default()


def store(table: str, columns: Sequence[str], rows: Iterable[Values]) -> None:
    """Write ``rows`` as they are, their values in the order of ``columns``."""
    quoted = ", ".join(connection.ops.quote_name(name) for name in columns)
    into = f"{connection.ops.quote_name(table)} ({quoted})"
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with connection.wrap_database_errors, cursor.cursor.copy(f"COPY {into} FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = ", ".join(["%s"] * len(columns))
            cursor.executemany(f"INSERT INTO {into} VALUES ({marks})", list(rows))  # noqa: S608


def put(
    model: type[models.Model],
    key: str,
    fields: Sequence[Any],
    rows: Sequence[models.Model],
    where: str = "",
) -> None:
    """Write the ``fields`` of ``rows``: a row whose ``key`` (a column, or several with commas between) is in
    the table already is written over, with ``where`` only if that holds of the two: SQL, in which the new row
    is ``excluded`` and the stored one goes by its table's name.

    In one order of keys, or two who write the same rows wait for each other for ever.
    """
    table = model._meta.db_table
    columns = [field.column for field in fields]
    names = ", ".join(columns)
    marks = ", ".join(["%s"] * len(columns))
    keys = key.split(", ")
    anew = ", ".join(f"{name} = excluded.{name}" for name in columns if name not in keys)
    over = f"ON CONFLICT ({key}) DO UPDATE SET {anew}" + (f" WHERE {where}" if where else "")
    copied = connection.vendor == "postgresql" and len(rows) >= _WORTH_COPYING
    values = _as_copied(fields, rows) if copied else _as_stored(fields, rows)
    with connection.cursor() as cursor:
        if copied:
            # Left over only where this is the same transaction's second time.
            cursor.execute(f"DROP TABLE IF EXISTS pg_temp.new_{table}")
            made = f"SELECT {names} FROM {table} LIMIT 0"  # noqa: S608
            cursor.execute(f"CREATE TEMP TABLE new_{table} ON COMMIT DROP AS {made}")
            into = f"COPY new_{table} ({names}) FROM STDIN"
            with connection.wrap_database_errors, cursor.cursor.copy(into) as copy:
                for row in values:
                    copy.write_row(row)
            cursor.execute(f"INSERT INTO {table} ({names}) SELECT {names} FROM new_{table} {over}")  # noqa: S608
        else:
            cursor.executemany(f"INSERT INTO {table} ({names}) VALUES ({marks}) {over}", values)  # noqa: S608


def _as_stored(fields: Sequence[Any], rows: Sequence[models.Model]) -> list[list[Any]]:
    return [
        [field.get_db_prep_save(getattr(row, field.attname), connection) for field in fields] for row in rows
    ]


def _as_copied(fields: Sequence[Any], rows: Sequence[models.Model]) -> list[tuple[Any, ...]]:
    """A COPY writes dates, numbers and texts of itself; to ask each field about each value takes longer."""
    as_json = {field.attname for field in fields if isinstance(field, models.JSONField)}
    columns = []
    for field in fields:
        column = [getattr(row, field.attname) for row in rows]
        columns.append([json.dumps(value) for value in column] if field.attname in as_json else column)
    return list(zip(*columns, strict=True))


def last_numbers(model: type[models.Model]) -> int:
    """The highest primary key in use, 0 in an empty table."""
    return int(model._base_manager.aggregate(last=models.Max("pk"))["last"] or 0)


def number_on(models_written: Iterable[type[models.Model]]) -> None:
    """After rows with keys of their own, let the database count on from the highest."""
    if connection.vendor != "postgresql":
        return
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), list(models_written)):
            cursor.execute(statement)
