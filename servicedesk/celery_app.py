"""The Celery application; tasks live in the apps and are found by name."""

import os

from celery import Celery

from servicedesk.metrics import tasks as _counted  # noqa: F401  # counts what the workers do

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
app = Celery("servicedesk")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
