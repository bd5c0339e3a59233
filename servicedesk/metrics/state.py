"""How the desk stands: database, Redis, letters that wait, dates to be made anew, the night, the archive.

What the database is asked is asked once a minute by each process, and counts stop at a bound: no scrape
walks through a large table.
"""

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta
from pathlib import Path
from typing import Any

import redis
from django.conf import settings
from django.db import DatabaseError, connection
from django.db.models import Count, Q, QuerySet, Sum
from prometheus_client import Metric
from prometheus_client.core import CounterMetricFamily, GaugeMetricFamily

from schedules import due, night
from schedules.models import Night, Notice
from servicedesk.archive.keep import archives
from servicedesk.metrics import tasks

KEPT_FOR = timedelta(minutes=1)
MOST = 10_000
LATE = timedelta(hours=1)
_kept: dict[str, tuple[datetime, list[Metric]]] = {}


def families(now: datetime) -> Iterator[Metric]:
    """All of it; what cannot be asked is left out, and said to be down."""
    yield from _of_database(now)
    yield from _of_tasks()
    if settings.BACKUP_DIR and (days := archives(Path(settings.BACKUP_DIR))):
        newest = datetime.combine(max(days), time(), UTC)
        yield _one("desk_archive_day_timestamp_seconds", "The newest archive's day.", newest.timestamp())


def _of_database(now: datetime) -> Iterator[Metric]:
    try:
        with connection.cursor() as cursor:
            cursor.execute("SELECT 1")
        kept_at, found = _kept.get(name := str(connection.settings_dict["NAME"]), (now - KEPT_FOR, []))
        if not timedelta() <= now - kept_at < KEPT_FOR:
            found = [*_letters(now), *_plans(now), *_night()]
            _kept[name] = (now, found)
    except DatabaseError:
        yield _up("database", up=False)
    else:
        yield _up("database", up=True)
        yield from found


def _letters(now: datetime) -> Iterator[Metric]:
    there = Notice.objects.filter(state=Notice.State.WAITING).order_by()
    late = there.filter(send_at__lt=now - LATE)
    yield _one("desk_outbox_waiting", f"Letters that wait to be sent, at most {MOST}.", _at_most(there))
    yield _one("desk_outbox_late", f"Of those, due for over an hour, at most {MOST}.", _at_most(late))


def _plans(now: datetime) -> Iterator[Metric]:
    said = f"Filters whose date the sweep is to make anew, at most {MOST}."
    yield _one("desk_plans_stale", said, _at_most(due.to_sweep(now).order_by()))


def _night() -> Iterator[Metric]:
    """The last pass of a large desk; a small one has none."""
    last = Night.objects.first()
    if last is None:
        return
    failed = Q(done_at=None, tries__gte=night.MOST_TRIES)
    told = last.parts.aggregate(
        done=Count("pk", filter=~Q(done_at=None)),
        failed=Count("pk", filter=failed),
        left=Count("pk", filter=Q(done_at=None) & ~failed),
        filters=Sum("filters"),
        changed=Sum("changed"),
        seconds=Sum("seconds"),
    )
    parts = GaugeMetricFamily("desk_night_parts", "Parts of the last nightly pass.", labels=["state"])
    for state in ("done", "left", "failed"):
        parts.add_metric([state], told[state])
    yield parts
    yield _one("desk_night_filters", "Filters looked at in it.", told["filters"] or 0)
    yield _one("desk_night_dates_moved", "Due dates that came out other than before.", told["changed"] or 0)
    yield _one("desk_night_work_seconds", "Seconds of all its workers.", told["seconds"] or 0.0)
    for name, at in (("started", last.started_at), ("finished", last.finished_at)):
        if at:
            yield _one(f"desk_night_{name}_timestamp_seconds", f"When it was {name}.", at.timestamp())


def _of_tasks() -> Iterator[Metric]:
    try:
        told = tasks.read()
        if settings.REDIS_URL:
            waiting = tasks.waiting([queue.name for queue in settings.CELERY_TASK_QUEUES])
            yield _up("redis", up=True)
            queues = GaugeMetricFamily("desk_queue_waiting", "Tasks that wait.", labels=["queue"])
            for queue, many in waiting.items():
                queues.add_metric([queue], many)
            yield queues
    except (redis.RedisError, OSError):
        yield _up("redis", up=False)
        return
    done = CounterMetricFamily("desk_tasks", "Tasks that ended.", labels=["task", "outcome"])
    seconds = CounterMetricFamily("desk_task_seconds", "Seconds they took.", labels=["task"])
    last = GaugeMetricFamily(
        "desk_task_last_success_timestamp_seconds", "When it last went well.", labels=["task"]
    )
    family: dict[str, CounterMetricFamily | GaugeMetricFamily] = {
        "count": done,
        "seconds": seconds,
        "last": last,
    }
    for (what, *labels), value in told.items():
        family[what].add_metric(labels, value)
    yield from family.values()


def _at_most(rows: QuerySet[Any]) -> int:
    return rows[:MOST].count()


def _up(what: str, *, up: bool) -> Metric:
    return _one(f"desk_{what}_up", "1 where it answers.", float(up))


def _one(name: str, said: str, value: float) -> Metric:
    return GaugeMetricFamily(name, said, value=value)
