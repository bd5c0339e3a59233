"""What the workers run; the work itself lies in the modules named."""

import os
import socket

from celery import shared_task
from django.utils import timezone

from equipment import api_keys, fan_fold, look_up_refresh
from equipment.sheets import waiting
from schedules import (
    due,
    feeds,
    foretelling,
    morning,
    night,
    observed_times,
    reminders,
    retention,
    round_runs,
    season_runs,
    sending,
    shut_letters,
    tasks_due,
    visit_notices,
    visits_done,
)

# The clock calls for the night's workers as often; what nobody has taken up by then is void.
CALL_AGAIN_S = 20.0


@shared_task
def replan_changed() -> int:
    """Plan again what is newer than its plan, and bring the look-up's texts up to date."""
    now = timezone.now()
    # Whoever looks something up next need not wait for the texts of a large import.
    look_up_refresh.sweep(now)
    return due.sweep(timezone.now)


@shared_task
def begin_night() -> int:
    """Begin today's pass of a large desk, and call for a worker for each part that is free."""
    now = timezone.now()
    if night.begin(now) is None:
        return 0
    free = night.free_parts(now).count()
    for _ in range(free):
        do_night_part.apply_async(expires=CALL_AGAIN_S)
    return free


@shared_task
def do_night_part() -> int:
    """Do one part of today's pass, whichever is free; how many filters were in it."""
    part = night.do_next(timezone.now, f"{socket.gethostname()}:{os.getpid()}")
    return part.filters if part else 0


@shared_task
def foretell_readings() -> int:
    """Promise readings that have no promise yet, to see later whether dates are right."""
    return foretelling.foretell_readings(timezone.now())


@shared_task
def refresh_tasks() -> int:
    """Set the due days of maintenance tasks anew, and make a large desk's pages of the day ready."""
    now = timezone.now()
    observed_times.refresh(now)
    morning.make_ready(now)
    return tasks_due.refresh_all(due.today(now))


@shared_task
def work_out_rounds() -> int:
    """Work out the plans of rounds that wait."""
    return round_runs.run_waiting(timezone.now())


@shared_task
def work_out_seasons() -> int:
    """Work out the plans of seasons that wait, and ask for the season anew once a week."""
    now = timezone.now()
    season_runs.ask_again(now)
    return season_runs.run_waiting(now)


@shared_task
def refresh_calendars() -> int:
    """Render what has changed in the calendars that somebody follows."""
    return feeds.sweep(timezone.now())


@shared_task
def write_reminders() -> int:
    """Write outbox rows for the homes that are to be told of filters."""
    return reminders.write_due(timezone.now())


@shared_task
def write_visits() -> int:
    """Write outbox rows for those who are to be told of visits, to come or over."""
    now = timezone.now()
    written = visit_notices.write_visits(now) + visits_done.write_done(now)
    return written + shut_letters.write_shut(now)


@shared_task
def send_outbox() -> int:
    """Send what is due, and park the claims of senders that died."""
    return sending.send_all(timezone.now())


@shared_task
def forget_uploads() -> int:
    """Take uploaded sheets off the disk that nobody stored within the hour."""
    now = timezone.now()
    return waiting.sweep(now) + api_keys.forget_answers(now)


@shared_task
def forget_old() -> int:
    """Take away what is known of people for longer than the settings say, and fold a small desk's old fan
    hours."""
    now = timezone.now()
    gone = sum(retention.forget_old(now).values())
    if not due.is_large():
        fan_fold.fold_late(due.today(now))
    return gone
