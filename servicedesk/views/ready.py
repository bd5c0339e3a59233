"""Whether this process is there, and whether it can serve: for whoever starts it, or deals requests out."""

from collections.abc import Callable

import redis
from django.conf import settings
from django.db import DatabaseError, connection
from django.http import HttpRequest, HttpResponse

from servicedesk.migrating import left

_PATIENCE_S = 2.0
# Of a database that had all migrations once it is not asked again: an upgrade starts a new process.
_migrated: set[str] = set()


def alive(request: HttpRequest) -> HttpResponse:
    """That the process answers: started anew where it does not, it would be no better for a lost database."""
    answer = HttpResponse("ok\n", content_type="text/plain; charset=utf-8")
    answer["Cache-Control"] = "no-store"
    return answer


def page(request: HttpRequest) -> HttpResponse:
    """200 where all answer, else 503 with a line for each that does not."""
    missing = [said for check in (_database, _redis) if (said := check())]
    body = "".join(f"{line}\n" for line in missing) or "ready\n"
    answer = HttpResponse(body, status=503 if missing else 200, content_type="text/plain; charset=utf-8")
    answer["Cache-Control"] = "no-store"
    return answer


def _database() -> str:
    return _said(_migrations_left, "The database does not answer.")


def _migrations_left() -> str:
    with connection.cursor() as cursor:
        cursor.execute("SELECT 1")
    name = str(connection.settings_dict["NAME"])
    if name in _migrated:
        return ""
    if left(connection):
        return "The database lacks migrations: run manage migrate."
    _migrated.add(name)
    return ""


def _redis() -> str:
    return _said(_ping, "Redis does not answer.") if settings.REDIS_URL else ""


def _ping() -> str:
    with redis.Redis.from_url(
        settings.REDIS_URL, socket_timeout=_PATIENCE_S, socket_connect_timeout=_PATIENCE_S
    ) as it:
        it.ping()
    return ""


def _said(check: Callable[[], str], down: str) -> str:
    """What the check says, or that there is no answer; never why, which may name addresses."""
    try:
        return check()
    except (DatabaseError, redis.RedisError, OSError):
        return down
