"""The Celery application; tasks live in the apps and are found by name."""

import os

from celery import Celery

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
app = Celery("servicedesk")
app.config_from_object("django.conf:settings", namespace="CELERY")
app.autodiscover_tasks()
