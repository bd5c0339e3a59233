"""A sender of its own: says ready, waits for a line, then empties the outbox as of a moment.

With ``sweeps`` behind the moment it goes on as the worker does, sweep after sweep, whatever breaks, until it
is told to stop.
"""

import os
import sys
import time
from datetime import datetime

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
django.setup()

from django.db import close_old_connections  # noqa: E402

from schedules import reminders, sending, visit_notices  # noqa: E402


def sweep_for_ever(now: datetime) -> None:
    while True:
        for work in (reminders.write_due, visit_notices.write_visits, sending.send_all):
            try:
                work(now)
            except Exception as error:
                print(type(error).__name__, flush=True)
                close_old_connections()
        time.sleep(0.05)


at = datetime.fromisoformat(sys.argv[1])
print("ready", flush=True)
sys.stdin.readline()
if "sweeps" in sys.argv:
    sweep_for_ever(at)
print(sending.send_all(at), flush=True)
