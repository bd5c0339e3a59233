"""The Celery application; tasks live in the apps and are found by name."""

import logging.config
import os
import sys
from typing import Any

from celery import Celery, signals
from django.conf import settings

from servicedesk.metrics import tasks as _counted  # noqa: F401  # counts what the workers do

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
app = Celery("servicedesk")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()


@signals.setup_logging.connect
def _log_as_the_pages_do(**_more: Any) -> None:
    """Without this a worker takes the desk's own handler away, and what keeps secrets out with it."""
    logging.config.dictConfig(settings.LOGGING)


@signals.celeryd_init.connect
def _say_nothing_plainly(instance: Any = None, **_more: Any) -> None:
    """For machines a line is an object: a worker's banner and what it says as it ends go away."""
    if settings.LOG_FORMAT == "json":
        instance.quiet = True
        sys.__stdout__ = None  # type: ignore[misc]
