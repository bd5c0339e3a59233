"""A worker of the nightly pass that stops for ever at a stage of its first part, to be killed there."""

import os
import sys
import time
from collections.abc import Callable
from datetime import datetime
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "servicedesk.settings")
django.setup()

from schedules import due, night, plan_store  # noqa: E402

stage, now = sys.argv[1], datetime.fromisoformat(sys.argv[2])
due.LARGE, due.BATCH_SYSTEMS, night.HOMES_A_PART = 0, 1, 3


def stop(*_args: Any) -> None:
    print("stopped", flush=True)
    time.sleep(60)


def after(work: Callable[..., Any]) -> Callable[..., Any]:
    def work_and_stop(*args: Any) -> Any:
        done = work(*args)
        stop()
        return done

    return work_and_stop


if stage == "taken":
    night._take = after(night._take)
elif stage == "reckoned":
    plan_store.store = stop  # type: ignore[assignment]
elif stage == "writing":
    plan_store._write = after(plan_store._write)
elif stage == "written":
    plan_store.store = after(plan_store.store)
else:
    night._do = after(night._do)
night.do_next(lambda: now, "to be killed")
print("never stopped", flush=True)
