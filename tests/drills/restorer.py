"""A restore that stops for ever in the middle of its transaction, to be killed there."""

import os
import sys
import time
from pathlib import Path

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
django.setup()

from equipment.models import Customer, Site  # noqa: E402
from servicedesk.archive import restore  # noqa: E402
from servicedesk.archive.tables import set_last_number  # noqa: E402


def stop_in_the_middle(model: object, number: int) -> None:
    set_last_number(model, number)  # type: ignore[arg-type]
    if model is Site:
        print(Customer.objects.count(), Site.objects.count(), flush=True)
        time.sleep(60)


restore.set_last_number = stop_in_the_middle
restore.restore_archive(Path(sys.argv[1]))
print("never stopped", flush=True)
