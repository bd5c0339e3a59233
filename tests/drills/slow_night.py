"""A worker's application in which each part of the night takes a second, to be asked to stop meanwhile."""

import os
import sys
import time
from datetime import datetime
from typing import Any

import django
from celery import signals

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
django.setup()

from schedules import due, night  # noqa: E402
from servicedesk.celery_app import app  # noqa: E402

__all__ = ["app"]
TAKES_S = 1.0
a_part = night._do


def slow_part(part: Any, now: datetime, clock: night.Clock) -> tuple[int, int]:
    # What is printed otherwise, the worker takes for its log.
    print("begun", file=sys.__stdout__, flush=True)
    time.sleep(TAKES_S)
    return a_part(part, now, clock)


@signals.worker_process_init.connect
def slow_down(**_more: Any) -> None:
    due.LARGE, night._do = 0, slow_part
