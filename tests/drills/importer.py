"""An import that stops for ever in the middle of its transaction, to be killed there."""

import os
import sys
import time
from datetime import datetime
from pathlib import Path

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
django.setup()

from equipment.models import FilterSlot, RuntimeDay  # noqa: E402
from equipment.sheets.importer import import_sheets  # noqa: E402


def stop_in_the_middle(sheet: str, rows: int) -> None:
    if sheet == "runtime.csv" and RuntimeDay.objects.exists():
        print(FilterSlot.objects.count(), RuntimeDay.objects.count(), flush=True)
        time.sleep(60)


import_sheets(Path(sys.argv[1]), datetime.fromisoformat(sys.argv[2]), progress=stop_in_the_middle)
print("never stopped", flush=True)
