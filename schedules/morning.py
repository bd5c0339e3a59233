"""After its nightly pass a large desk works out what its pages show all day, before anybody asks."""

from datetime import datetime

from schedules import due, figures_kept, promises_kept, season_rows
from schedules.models import DayResult, Night


def make_ready(now: datetime) -> bool:
    """Work out the day's results where the night is over and they are not there; whether any were missing."""
    day = due.today(now)
    if not due.is_large() or not Night.objects.filter(day=day, finished_at__isnull=False).exists():
        return False
    keys = {figures_kept.KEY, promises_kept.KEY, season_rows.COUNTS_KEY}
    if DayResult.objects.filter(key__in=keys, day=day).count() == len(keys):
        return False
    figures_kept.shown(now)
    promises_kept.shown(now)
    season_rows.counts(now, day)
    return True
