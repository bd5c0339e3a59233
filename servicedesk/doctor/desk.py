"""The desk itself: database, Redis, letters, weather, the night."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import Any

import redis
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.migrations.executor import MigrationExecutor

from equipment.stations import quiet_stations
from schedules import due, night
from schedules.models import Night, Notice
from servicedesk.doctor.findings import Finding, goes_on, look, well, wrong
from servicedesk.doctor.record import letters_under_way, swept
from servicedesk.migrating import left

LATE = timedelta(hours=6)
NIGHT_S = timedelta(hours=4)
_PATIENCE_S = 2.0


@goes_on
def of_desk(now: datetime) -> Iterator[Finding]:
    """All of it; what needs the database is left out where that is down or not ready."""
    database, usable = _database()
    yield database
    yield redis_answers()
    if usable:
        yield from later_version()
        yield letters(now)
        yield from letters_under_way(now)
        yield weather(now)
        yield from nights(now)
        if not due.is_large():
            yield swept(now)


def _database() -> tuple[Finding, bool]:
    kind = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}.get(connection.vendor, connection.vendor)
    try:
        connection.ensure_connection()
        lacks = left(connection)
    except DatabaseError as error:
        said = f"{kind} does not answer ({type(error).__name__}); look at DATABASE_URL and at the server."
        return wrong("Database", said), False
    if lacks:
        return wrong("Database", f"{lacks} migrations are to be applied; run manage migrate."), False
    version = ".".join(map(str, connection.get_database_version()))
    return well("Database", f"{kind} {version} answers and has all migrations."), True


def later_version() -> Iterator[Finding]:
    """Migrations that this version does not know, after a way back to an older one."""
    loader = MigrationExecutor(connection).loader
    known, rooms = loader.disk_migrations or {}, loader.migrated_apps
    if unknown := [key for key in loader.applied_migrations if key[0] in rooms and key not in known]:
        said = f"{len(unknown)} migrations are of another version; run that, or restore an archive of this."
        yield look("Database", said)


def redis_answers() -> Finding:
    """The broker of the workers."""
    if not settings.REDIS_URL:
        return well("Redis", "none is named: the desk is one process and works for itself.")
    try:
        with redis.Redis.from_url(
            settings.REDIS_URL, socket_timeout=_PATIENCE_S, socket_connect_timeout=_PATIENCE_S
        ) as server:
            told: Any = server.info()
            version = told["redis_version"]
            waiting = sum(int(server.llen(name)) for name in ("celery", settings.NIGHT_QUEUE))
    except redis.ResponseError as refusal:
        return wrong("Redis", f"answers, but refuses: {str(refusal)[:120]}")
    except (redis.RedisError, OSError, ValueError) as error:
        return wrong(
            "Redis", f"does not answer ({type(error).__name__}); look at REDIS_URL and at the server."
        )
    if told.get("maxmemory_policy", "noeviction") != "noeviction":
        return look("Redis", "may throw waiting tasks away; set its maxmemory-policy to noeviction.")
    if waiting > 2000:
        return look("Redis", f"{waiting} tasks wait in it; do workers run?")
    return well("Redis", f"{version} answers, {waiting} tasks wait.")


def letters(now: datetime) -> Finding:
    """Letters that should have gone out."""
    late = Notice.objects.filter(state=Notice.State.WAITING, send_at__lt=now - LATE).count()
    parked = Notice.objects.filter(state=Notice.State.PARKED).count()
    if late:
        return wrong("Letters", f"{late} have waited for over six hours; does a worker run, and its clock?")
    if parked:
        return look("Letters", f"{parked} are parked; the Letters page asks what became of them.")
    return well("Letters", "none waits longer than it should.")


def weather(now: datetime) -> Finding:
    """Weather stations that have gone quiet."""
    quiet = len(list(quiet_stations(due.today(now))))
    if quiet:
        return look("Weather", f"{quiet} stations have gone quiet; import their days.")
    return well("Weather", "no station has gone quiet.")


def nights(now: datetime) -> Iterator[Finding]:
    """The last nightly pass of a large desk."""
    if not due.is_large():
        return
    last = Night.objects.first()
    if last is None or last.day < due.today(now) - timedelta(days=1):
        yield wrong("Night", "no pass was begun of late; does a worker run, and its clock?")
        return
    stuck = last.parts.filter(done_at=None, tries__gte=night.MOST_TRIES).count()
    left = last.parts.filter(done_at=None).count()
    if stuck:
        yield wrong("Night", f"{stuck} parts of {last.day} failed each time; manage night tells why.")
    elif left and now - last.started_at > NIGHT_S:
        yield look("Night", f"{left} parts of {last.day} are still to be done; start further workers.")
    else:
        yield well("Night", f"{last.day}: {'finished' if last.finished_at else f'{left} parts left'}.")
