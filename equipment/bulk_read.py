"""Many rows read at once: as arrays, as tuples or as models, by the driver's binary cursor on PostgreSQL.

Binary, because to read instants and numbers from their written form takes longer than all else that is done
with a row; past Django's cursor, whose counts of queries do not see these.
"""

from collections.abc import Iterable, Sequence
from typing import Any, TypeVar

import numpy as np
from django.db import connection, models
from django.db.models.base import ModelState
from numpy.typing import NDArray

Row = TypeVar("Row", bound=models.Model)
Told = TypeVar("Told")
# SQLite takes so many values in one statement.
_MOST_AMONG = 900
# How PostgreSQL writes eight bytes, big end first.
_SENT = {"i8": "int8send", "f8": "float8send"}


def among(rows: models.QuerySet[Row, Told], column: str, keys: Iterable[int]) -> models.QuerySet[Row, Told]:
    """The rows whose ``column`` (of the table's own) is one of many numbers.

    PostgreSQL takes them as one array: thousands of marks take longer to write and to read than the rows.
    """
    some = list(keys)
    if connection.vendor != "postgresql":
        return rows.filter(**{f"{column}__in": some})
    name = f"{connection.ops.quote_name(rows.model._meta.db_table)}.{connection.ops.quote_name(column)}"
    return rows.extra(where=[f"{name} = ANY(%s)"], params=[some])  # noqa: S610


def tuples(rows: models.QuerySet[Any, Any]) -> list[tuple[Any, ...]]:
    """All of a ``values_list``; JSON as what it says, instants in UTC."""
    if connection.vendor != "postgresql":
        return list(rows)
    return _binary(*rows.query.sql_with_params())


def objects(rows: models.QuerySet[Row]) -> list[Row]:
    """All rows as models, whole: nothing deferred, nothing joined."""
    if connection.vendor != "postgresql":
        return list(rows)
    model, fields = rows.model, rows.model._meta.concrete_fields
    odd = [field.name for field in fields if hasattr(field, "from_db_value") and not _is_json(field)]
    if odd:
        raise TypeError(f"{model.__name__}: {', '.join(odd)} cannot be read as the driver gives it")
    names = [field.attname for field in fields]
    return [_as_read(model, names, row) for row in _binary(*rows.query.sql_with_params())]


def _as_read(model: type[Row], names: Sequence[str], values: Sequence[Any]) -> Row:
    """What ``from_db`` makes, without asking each field for its default: half the time of reading a slot."""
    made = model.__new__(model)
    made.__dict__.update(zip(names, values, strict=True))
    made._state = ModelState()
    made._state.adding, made._state.db = False, connection.alias
    return made


def _is_json(field: Any) -> bool:
    return isinstance(field, models.JSONField)


def _binary(sql: str, values: Sequence[Any]) -> list[tuple[Any, ...]]:
    # Untyped: only PostgreSQL's has a driver to name.
    here: Any = connection
    here.ensure_connection()
    # Django's own cursor writes values into the statement, which the driver does for text alone.
    with here.wrap_database_errors, here.Database.Cursor(here.connection) as cursor:
        cursor.execute(sql, values, binary=True)
        return list(cursor.fetchall())


def arrays(
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
        return _packed(sql.format(among=f"{key} = ANY(%s)"), [list(among), *more], kinds)
    rows: list[tuple[Any, ...]] = []
    with connection.cursor() as cursor:
        for start in range(0, len(among), _MOST_AMONG):
            some = among[start : start + _MOST_AMONG]
            cursor.execute(sql.format(among=f"{key} IN ({', '.join(['%s'] * len(some))})"), [*some, *more])
            rows.extend(cursor.fetchall())
    columns = zip(*rows, strict=True) if rows else ([] for _ in kinds)
    return tuple(np.array(column, dtype=kind) for column, kind in zip(columns, kinds, strict=True))


def _packed(sql: str, values: Sequence[Any], kinds: Sequence[str]) -> tuple[NDArray[Any], ...]:
    """Each column as one string of bytes that the server puts together: a row of its own for each value
    costs more than to read the value."""
    names = [f"column{number}" for number in range(len(kinds))]
    told = ", ".join(
        f"string_agg({_SENT[kind]}({name}), '')" for name, kind in zip(names, kinds, strict=True)
    )
    rows = _binary(f"SELECT {told} FROM ({sql}) AS found ({', '.join(names)})", values)  # noqa: S608
    return tuple(
        np.frombuffer(packed or b"", dtype=f">{kind}").astype(kind)
        for packed, kind in zip(rows[0], kinds, strict=True)
    )
