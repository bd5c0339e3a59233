"""How many tasks were done, with what outcome, how long they took and when each last went well.

With Redis the workers of all machines add to one tally there; without, the desk is one process and keeps it
in memory.
"""

import logging
import time
from functools import cache
from threading import Lock
from typing import Any

import redis
from celery import signals
from django.conf import settings

KEY = "desk:tasks"
PATIENCE_S = 2.0
_OUTCOMES = {"SUCCESS": "done", "FAILURE": "failed", "RETRY": "again"}
_begun: dict[str, float] = {}
_tally: dict[str, float] = {}
_lock = Lock()
_log = logging.getLogger(__name__)


@cache
def server(url: str) -> redis.Redis:
    """Redis at an address, with patience for a moment only."""
    return redis.Redis.from_url(
        url, socket_timeout=PATIENCE_S, socket_connect_timeout=PATIENCE_S, decode_responses=True
    )


@signals.task_prerun.connect
def _begin(task_id: str = "", **_more: Any) -> None:
    if settings.METRICS_TOKEN:
        _begun[task_id] = time.perf_counter()


@signals.task_postrun.connect
def _end(task_id: str = "", task: Any = None, state: str | None = None, **_more: Any) -> None:
    began = _begun.pop(task_id, None)
    if began is not None:
        outcome = _OUTCOMES.get(state or "", "other")
        note(task.name.rpartition(".")[2], outcome, time.perf_counter() - began, time.time())


def note(name: str, outcome: str, seconds: float, at: float) -> None:
    """Add one task to the tally. A Redis that is away costs the tally that task, and the task nothing."""
    counted, took, last = f"count {name} {outcome}", f"seconds {name}", f"last {name}"
    if not settings.REDIS_URL:
        with _lock:
            _tally[counted] = _tally.get(counted, 0) + 1
            _tally[took] = _tally.get(took, 0.0) + seconds
            if outcome == "done":
                _tally[last] = at
        return
    try:
        with server(settings.REDIS_URL).pipeline(transaction=False) as many:
            many.hincrby(KEY, counted, 1)
            many.hincrbyfloat(KEY, took, seconds)
            if outcome == "done":
                many.hset(KEY, last, str(at))
            many.execute()
    except (redis.RedisError, OSError) as error:
        _log.warning("A task was not counted: %s", type(error).__name__)


def read() -> dict[tuple[str, ...], float]:
    """The tally by ``count``, name and outcome, ``seconds`` and name, ``last`` and name; or RedisError."""
    if settings.REDIS_URL:
        told: Any = server(settings.REDIS_URL).hgetall(KEY)
    else:
        with _lock:
            told = dict(_tally)
    return {tuple(key.split(" ")): float(value) for key, value in sorted(told.items())}


def waiting(queues: list[str]) -> dict[str, int]:
    """How many tasks wait in each queue at Redis. Raises RedisError."""
    with server(settings.REDIS_URL).pipeline(transaction=False) as many:
        for queue in queues:
            many.llen(queue)
        return dict(zip(queues, many.execute(), strict=True))


def forget() -> None:
    """Begin this process's tally anew."""
    with _lock:
        _tally.clear()
