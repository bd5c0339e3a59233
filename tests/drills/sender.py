"""A sender of its own: says ready, waits for a line, then empties the outbox as of a moment."""

import os
import sys
from datetime import datetime

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
django.setup()

from schedules import sending  # noqa: E402

now = datetime.fromisoformat(sys.argv[1])
print("ready", flush=True)
sys.stdin.readline()
rounds = 0
while sending.send_one(now):
    rounds += 1
print(rounds, flush=True)
