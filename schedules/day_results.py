"""What a large desk works out once a day, since reading all of it takes seconds; a page says as of when."""

from collections.abc import Callable
from datetime import datetime
from typing import Any

from schedules import due
from schedules.models import DayResult


def of_the_day(key: str, now: datetime, make: Callable[[], Any]) -> tuple[Any, datetime | None]:
    """What ``make`` says, which must be plain JSON; on a large desk as it was said first today, and when.

    None for the hour where it is as of now.
    """
    if not due.is_large():
        return make(), None
    day = due.today(now)
    row = DayResult.objects.filter(key=key, day=day).first()
    if row is None:
        fresh = {"day": day, "made_at": now, "told": make()}
        row, _new = DayResult.objects.update_or_create(key=key, defaults=fresh)
    return row.told, row.made_at
