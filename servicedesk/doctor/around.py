"""What stands around the desk: packages, workers, two clocks, other servers' addresses, room."""

import hashlib
import json
import shutil
import sys
from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path
from urllib.parse import urlsplit

from django.conf import settings
from django.db import DatabaseError, connection
from django.utils import timezone
from kombu.exceptions import OperationalError
from redis import RedisError

from schedules import due
from servicedesk.archive.keep import archives
from servicedesk.celery_app import app
from servicedesk.doctor.findings import Finding, look, well, wrong

APART = timedelta(seconds=5)
_PATIENCE_S = 1


def of_surroundings(now: datetime) -> Iterator[Finding]:
    """All of it; what is not used is left out."""
    yield environment()
    if settings.REDIS_URL:
        yield workers()
    if connection.vendor == "postgresql":
        yield from clocks()
    yield from addresses()
    yield from room_to_archive()


def environment() -> Finding:
    """Whether the packages installed are those of the locks."""
    stamp = Path(sys.prefix) / "installed.json"
    try:
        told = json.loads(stamp.read_text())
        lock = settings.BASE_DIR / "requirements" / f"{told['lock']}.txt"
        same = hashlib.sha256(lock.read_bytes()).hexdigest() == told["sha256"]
    except (OSError, ValueError, KeyError, TypeError):
        return look("Packages", "were not installed by ./run; nobody knows whether they are the locked ones.")
    if not same:
        return wrong("Packages", "are those of another version; start ./run once, or restart the desk.")
    return well("Packages", "are the locked ones.")


def workers() -> Finding:
    """Those that answer by way of Redis, the one inside the pages' process among them."""
    try:
        with app.connection_for_write(settings.REDIS_URL) as link:
            link.ensure_connection(max_retries=1, timeout=_PATIENCE_S)
            asked = app.control.inspect(timeout=_PATIENCE_S, connection=link)
            found = asked.active_queues() or {}
    except (OperationalError, RedisError, OSError):
        return wrong("Workers", "cannot be asked, as Redis does not answer.")
    if not found:
        return wrong("Workers", "none answers; start the desk, or ./run worker.")
    taken = {queue["name"] for queues in found.values() for queue in queues}
    if due.is_large() and settings.NIGHT_QUEUE not in taken:
        return wrong("Workers", "none takes parts of the night; start ./run worker -Q night.")
    return well("Workers", f"{len(found)} answer.")


def clocks() -> Iterator[Finding]:
    """This machine's clock against the database's."""
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT clock_timestamp()")
            theirs: datetime = cursor.fetchone()[0]
    except DatabaseError:
        return
    apart = abs(theirs - timezone.now())
    if apart > APART:
        yield wrong("Clock", f"is {apart.total_seconds():,.0f} s off the database's; let both be set by NTP.")
    else:
        yield well("Clock", "agrees with the database's.")


def addresses() -> Iterator[Finding]:
    """Servers that are asked or posted to, by the shape of their addresses alone."""
    for name in ("TRAVEL_URL", "TEXTS_URL"):
        if not (told := getattr(settings, name)):
            continue
        try:
            parts = urlsplit(told)
            shaped = parts.scheme in ("http", "https") and bool(parts.hostname) and parts.port != 0
        except ValueError:
            shaped = False
        if not shaped:
            yield wrong(name, "is no address; it begins with https:// and a host.")
        elif parts.scheme == "http" and parts.hostname not in ("127.0.0.1", "localhost", "::1"):
            yield look(name, "goes over plain HTTP: whoever listens between reads it.")
        else:
            yield well(name, "has the shape of an address.")
    if bool(settings.TEXTS_URL) != bool(settings.TEXTS_SECRET):
        yield wrong("TEXTS_SECRET", "and TEXTS_URL go together; no text message goes out.")
    if settings.TILES_URL and not settings.TILES_CREDIT:
        yield look("TILES_CREDIT", "is empty: most map tiles ask to be credited.")


def room_to_archive() -> Iterator[Finding]:
    """Whether the next archive fits beside those that are kept."""
    found = archives(Path(settings.BACKUP_DIR)) if settings.BACKUP_DIR else {}
    if not found:
        return
    size, free = found[max(found)].stat().st_size, shutil.disk_usage(settings.BACKUP_DIR).free
    said = f"{free / 1e9:,.1f} GB are free for archives of {size / 1e9:,.3f} GB"
    if free < size:
        yield wrong("Archive", f"{said}; the next one does not fit.")
    elif free < 10 * size:
        yield look("Archive", f"{said}; make room soon.")
    else:
        yield well("Archive", f"{said}.")
