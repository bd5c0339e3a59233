"""Technicians who leave and come back, and the desk's days without work."""

from datetime import datetime

from schedules import due, feeds
from schedules.models import Absence, Technician


def leaves(row: Technician, now: datetime) -> int:
    """A technician works here no longer; how many booked visits want somebody else. They stay on record."""
    row.gone_on = due.today(now)
    row.save(update_fields=["gone_on"])
    feeds.withdraw_left(now)
    return row.visits.filter(state__in=("scheduled", "confirmed"), day__gte=row.gone_on).count()


def returns(row: Technician) -> None:
    """Who had left works here again."""
    row.gone_on = None
    row.save(update_fields=["gone_on"])


def take_back(row: Absence, now: datetime) -> None:
    """The days are worked on after all; told again, the first time stands."""
    Absence.objects.filter(pk=row.pk, withdrawn_at=None).update(withdrawn_at=now)
