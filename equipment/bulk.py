"""Many rows at once, past the models: by COPY on PostgreSQL, by one prepared statement on SQLite.

A COPY is asked of the driver's own cursor: Django's, where queries are counted, takes none with values.
"""

import json
from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

import numpy as np
from django.core.management.color import no_style
from django.db import connection, models
from numpy.typing import NDArray

Values = Sequence[Any]
Row = TypeVar("Row", bound=models.Model)
# PostgreSQL's binary rows: a count of fields of two bytes, then length and value of each, big end first.
_HEAD, _TRAILER = 19, 2
# SQLite takes so many values in one statement.
_MOST_AMONG = 900
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
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            with cursor.cursor.copy(f"COPY {connection.ops.quote_name(table)} ({quoted}) FROM STDIN") as copy:
                for row in rows:
                    copy.write_row(row)
        else:
            marks = ", ".join(["%s"] * len(columns))
            cursor.executemany(f"INSERT INTO {table} ({quoted}) VALUES ({marks})", list(rows))  # noqa: S608


def put(
    model: type[models.Model],
    key: str,
    fields: Sequence[Any],
    rows: Sequence[models.Model],
    not_older: Sequence[str] = (),
) -> None:
    """Write the ``fields`` of ``rows``: a row whose ``key`` (a column, or several with commas between) is in
    the table already is written over, unless a column of ``not_older`` holds more there than in the new row.

    In one order of keys, or two who write the same rows wait for each other for ever.
    """
    table = model._meta.db_table
    columns = [field.column for field in fields]
    names = ", ".join(columns)
    marks = ", ".join(["%s"] * len(columns))
    keys = key.split(", ")
    anew = ", ".join(f"{name} = excluded.{name}" for name in columns if name not in keys)
    newer = " AND ".join(f"excluded.{name} >= {table}.{name}" for name in not_older)
    over = f"ON CONFLICT ({key}) DO UPDATE SET {anew}" + (f" WHERE {newer}" if newer else "")
    copied = connection.vendor == "postgresql" and len(rows) >= _WORTH_COPYING
    values = _as_copied(fields, rows) if copied else _as_stored(fields, rows)
    with connection.cursor() as cursor:
        if copied:
            # Left over only where this is the same transaction's second time.
            cursor.execute(f"DROP TABLE IF EXISTS pg_temp.new_{table}")
            made = f"SELECT {names} FROM {table} LIMIT 0"  # noqa: S608
            cursor.execute(f"CREATE TEMP TABLE new_{table} ON COMMIT DROP AS {made}")
            with cursor.cursor.copy(f"COPY new_{table} ({names}) FROM STDIN") as copy:
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


def among(rows: models.QuerySet[Row], column: str, keys: Iterable[int]) -> models.QuerySet[Row]:
    """The rows whose ``column`` (of the table's own) is one of many numbers.

    PostgreSQL takes them as one array: thousands of marks take longer to write and to read than the rows.
    """
    some = list(keys)
    if connection.vendor != "postgresql":
        return rows.filter(**{f"{column}__in": some})
    name = f"{connection.ops.quote_name(rows.model._meta.db_table)}.{connection.ops.quote_name(column)}"
    return rows.extra(where=[f"{name} = ANY(%s)"], params=[some])  # noqa: S610


def read(
    sql: str, key: str, among: Sequence[int], more: Sequence[Any], kinds: Sequence[str]
) -> tuple[NDArray[Any], ...]:
    """The columns of a query as arrays, one a column; ``kinds`` are numpy's names for eight bytes, ``i8`` or
    ``f8``, and no value may be NULL.

    ``{among}`` in the query stands for "``key`` is one of ``among``"; ``more`` are the values of its marks
    after that one.
    """
    if not among:
        return tuple(np.empty(0, dtype=kind) for kind in kinds)
    if connection.vendor == "postgresql":
        return _read_binary(sql.format(among=f"{key} = ANY(%s)"), [list(among), *more], kinds)
    rows: list[tuple[Any, ...]] = []
    with connection.cursor() as cursor:
        for start in range(0, len(among), _MOST_AMONG):
            some = among[start : start + _MOST_AMONG]
            cursor.execute(sql.format(among=f"{key} IN ({', '.join(['%s'] * len(some))})"), [*some, *more])
            rows.extend(cursor.fetchall())
    columns = zip(*rows, strict=True) if rows else ([] for _ in kinds)
    return tuple(np.array(column, dtype=kind) for column, kind in zip(columns, kinds, strict=True))


def _read_binary(sql: str, values: Sequence[Any], kinds: Sequence[str]) -> tuple[NDArray[Any], ...]:
    fields = [("fields", ">i2")]
    for number, kind in enumerate(kinds):
        fields += [(f"length{number}", ">i4"), (f"value{number}", f">{kind}")]
    with (
        connection.cursor() as cursor,
        cursor.cursor.copy(f"COPY ({sql}) TO STDOUT (FORMAT BINARY)", values) as copy,
    ):
        told = b"".join(bytes(part) for part in copy)
    rows = np.frombuffer(told[_HEAD : len(told) - _TRAILER], dtype=np.dtype(fields))
    return tuple(rows[f"value{n}"].astype(kind) for n, kind in enumerate(kinds))


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
