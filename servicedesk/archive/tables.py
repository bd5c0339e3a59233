"""Which tables make up the desk, and how a row of each is written as JSON and read again.

A row is a list of its values in the order of the table's columns. Times keep their microseconds and their
zone, bytes are base64, floating-point numbers their shortest exact form.
"""

import json
from base64 import b64encode
from collections.abc import Iterable
from datetime import date, datetime, time
from decimal import Decimal
from typing import Any
from uuid import UUID

from django.apps import apps
from django.db import connection, models
from django.db.migrations.recorder import MigrationRecorder

APPS = ("equipment", "schedules")
Row = list[Any]


def tables() -> list[type[models.Model]]:
    """Every table of the desk's own, its histories and the tables between two others included, by name.

    Sessions, the log of the admin pages and what Django itself notes of permissions stay behind.
    """
    mine = [
        model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.app_label in APPS and model._meta.managed and not model._meta.proxy
    ]
    return sorted((model for model in mine if not _leads_out(model)), key=name_of)


def _leads_out(model: type[models.Model]) -> bool:
    """Whether a table between two others leads to one that is not the desk's own."""
    ends = [field.remote_field.model for field in columns(model) if field.remote_field]
    return bool(model._meta.auto_created) and any(end._meta.app_label not in APPS for end in ends)


def name_of(model: type[models.Model]) -> str:
    """The table's name in the archive."""
    return model._meta.label_lower


def columns(model: type[models.Model]) -> list[Any]:
    """The fields that have a column of their own."""
    return list(model._meta.concrete_fields)


def migrations() -> list[str]:
    """What has been applied to the desk's tables."""
    applied = MigrationRecorder(connection).applied_migrations()
    return sorted(f"{app}.{name}" for app, name in applied if app in APPS)


def as_line(values: Iterable[Any]) -> bytes:
    """A row as a line of JSON."""
    # PostgreSQL keeps the names within a JSON column in an order of its own.
    text = json.dumps(list(values), default=_plain, ensure_ascii=False, separators=(",", ":"), sort_keys=True)
    return text.encode() + b"\n"


def as_row(model: type[models.Model], line: bytes) -> Row:
    """The values of a line, each as its column wants it. Raises ValueError where it does not fit."""
    values, fields = json.loads(line), columns(model)
    if not isinstance(values, list) or len(values) != len(fields):
        raise ValueError(f"a row of {name_of(model)} has not {len(fields)} values")
    return [
        field.get_db_prep_save(_read(field, value), connection)
        for field, value in zip(fields, values, strict=True)
    ]


def _plain(value: Any) -> str:
    if isinstance(value, datetime | date | time):
        return value.isoformat()
    if isinstance(value, UUID | Decimal):
        return str(value)
    if isinstance(value, bytes | memoryview | bytearray):
        return b64encode(bytes(value)).decode()
    raise TypeError(f"no way to write {type(value).__name__}")


def _read(field: Any, value: Any) -> Any:
    try:
        return field.to_python(value)
    except Exception as error:
        raise ValueError(
            f"{field.model._meta.label_lower}.{field.attname} cannot be {value!r:.60}"
        ) from error


def last_number(model: type[models.Model]) -> int:
    """The highest number that the database has ever given a row of the table, nought where it keeps none."""
    table, key = model._meta.db_table, model._meta.pk
    if not isinstance(key, models.AutoField):
        return 0
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("SELECT seq FROM sqlite_sequence WHERE name = %s", [table])
            row = cursor.fetchone()
            return int(row[0]) if row else 0
        cursor.execute(
            "SELECT pg_get_serial_sequence(%s, %s)", [connection.ops.quote_name(table), key.column]
        )
        (sequence,) = cursor.fetchone()
        # A sequence that was never asked stands at one and says so.
        cursor.execute(f"SELECT CASE WHEN is_called THEN last_value ELSE 0 END FROM {sequence}")  # noqa: S608
        return int(cursor.fetchone()[0])


def set_last_number(model: type[models.Model], number: int) -> None:
    """Let the next row of the table have the number after this one: a number is never given twice, as
    calendars know visits by theirs."""
    table, key = model._meta.db_table, model._meta.pk
    if not number or not isinstance(key, models.AutoField):
        return
    with connection.cursor() as cursor:
        if connection.vendor == "sqlite":
            cursor.execute("DELETE FROM sqlite_sequence WHERE name = %s", [table])
            cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table, number])
        else:
            told = [connection.ops.quote_name(table), key.column, number]
            cursor.execute("SELECT setval(pg_get_serial_sequence(%s, %s), %s)", told)
