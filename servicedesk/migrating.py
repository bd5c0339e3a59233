"""Migrations: how many are left, by one process at a time, and at a start without keeping others waiting."""

import logging
import time
from collections.abc import Iterator
from contextlib import contextmanager

from django.conf import settings
from django.core.management import call_command
from django.db import OperationalError, connection
from django.db.backends.base.base import BaseDatabaseWrapper
from django.db.migrations.executor import MigrationExecutor

# Of the database's own numbered locks; the desk has no other.
LOCK = 6_467_511
_ASK_AGAIN_S = 0.5
# Whoever comes after a migration that waits for its table waits behind it.
_LONGEST_WAIT = "5s"
_LOCK_NOT_AVAILABLE = "55P03"
log = logging.getLogger(__name__)


class NotMigratedError(Exception):
    """The database is out of reach or lacks migrations, in words for whoever starts the desk."""


def left(database: BaseDatabaseWrapper) -> int:
    """How many migrations a database lacks."""
    executor = MigrationExecutor(database)
    return len(executor.migration_plan(executor.loader.graph.leaf_nodes()))


@contextmanager
def alone(database: BaseDatabaseWrapper) -> Iterator[None]:
    """Nobody else migrates meanwhile. On SQLite nothing is done: there a desk is one process.

    The lock is asked for again and again: a statement that waited for it would keep an index that its holder
    makes ``CONCURRENTLY`` waiting for that statement.
    """
    if database.vendor != "postgresql":
        yield
        return
    if not _asked(database, "pg_try_advisory_lock"):
        log.info("another process migrates: waiting for it")
        while not _asked(database, "pg_try_advisory_lock"):
            time.sleep(_ASK_AGAIN_S)
    try:
        yield
    finally:
        # A connection that was lost has let it go by itself.
        if database.is_usable():
            _asked(database, "pg_advisory_unlock")


def _asked(database: BaseDatabaseWrapper, function: str) -> bool:
    with database.cursor() as cursor:
        cursor.execute(f"SELECT {function}(%s)", [LOCK])
        return bool(cursor.fetchone()[0])


def at_start() -> None:
    """Migrate, or where ``MIGRATE_AT_START`` is 0 see that nothing is left. Raises NotMigratedError."""
    try:
        connection.ensure_connection()
    except OperationalError as error:
        said = str(error).partition("\n")[0]
        raise NotMigratedError(
            f"The database does not answer; look at DATABASE_URL. It says: {said}"
        ) from error
    if not settings.MIGRATE_AT_START:
        if count := left(connection):
            raise NotMigratedError(
                f"The database lacks {count} migrations, and MIGRATE_AT_START is 0: run manage migrate first."
            )
        return
    try:
        _give_up_soon()
        call_command("migrate", verbosity=0)
    except OperationalError as error:
        if getattr(error.__cause__, "sqlstate", "") != _LOCK_NOT_AVAILABLE:
            raise
        raise NotMigratedError(
            f"A migration gave up after waiting {_LONGEST_WAIT} for a table; start again in a quieter moment."
        ) from error


def _give_up_soon() -> None:
    """For as long as the connection; whoever set ``PGOPTIONS`` knows better."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute(
                "SELECT set_config('lock_timeout', %s, false) WHERE current_setting('lock_timeout') = '0'",
                [_LONGEST_WAIT],
            )
