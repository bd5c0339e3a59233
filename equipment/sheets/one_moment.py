"""Many queries that see the record as it stood at one moment."""

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction


@contextmanager
def one_moment() -> Iterator[None]:
    """What is written during the block is not seen in it, and nobody who writes waits for it.

    Inside of a transaction the block sees what that one sees.
    """
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "sqlite":
        yield from _read_only()
    else:
        with transaction.atomic(), connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield


def _read_only() -> Iterator[None]:
    # Django's own transactions on SQLite begin as a writer's and would keep everybody else waiting.
    with connection.cursor() as cursor:
        cursor.execute("BEGIN DEFERRED")
        try:
            yield
        finally:
            cursor.execute("ROLLBACK")
