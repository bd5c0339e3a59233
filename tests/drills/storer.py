"""An upload that stops for ever in the middle of being stored, to be killed there."""

import os
import sys
import time
from datetime import datetime
from pathlib import Path

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
django.setup()

from equipment.models import Media  # noqa: E402
from equipment.sheets import importer  # noqa: E402
from equipment.sheets.waiting import Upload  # noqa: E402


def stop_in_the_middle(run: object) -> None:
    print(Media.objects.count(), flush=True)
    time.sleep(60)


importer.stamp = stop_in_the_middle
folder = Path(sys.argv[1])
Upload(folder.name, folder).store(datetime.fromisoformat(sys.argv[2]), keep_good=False)
print("never stopped", flush=True)
