"""Which days a technician works, and for how long: rest, absence, leaving."""

from collections.abc import Iterable
from datetime import date

from schedules.models import Absence, Technician


def works(who: Technician, day: date, away: Iterable[Absence]) -> bool:
    """Whether it is a working day of theirs; ``away`` holds the absences that may touch it."""
    if day.weekday() not in who.weekdays or (who.gone_on and day >= who.gone_on):
        return False
    return not any(
        row.technician_id in (None, who.pk) and row.first_day <= day <= row.last_day for row in away
    )


def minutes_a_day(who: Technician) -> int:
    """Minutes between the start and the end of their day."""
    starts, ends = who.day_starts, who.day_ends
    return (ends.hour - starts.hour) * 60 + ends.minute - starts.minute
