"""Technicians who leave and come back, branches given up, and the desk's days without work."""

from datetime import datetime

from django.db import transaction

from schedules import due, feeds
from schedules.models import Absence, Depot, Technician


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


def close_depot(row: Depot, now: datetime) -> list[str]:
    """A branch is given up; the names of those who started there and start at the desk from now on."""
    names = list(row.technicians.filter(gone_on=None, start_latitude=None).values_list("name", flat=True))
    with transaction.atomic():
        row.closed_on = due.today(now)
        row.save(update_fields=["closed_on"])
        row.technicians.update(depot=None)
    return names


def take_back(row: Absence, now: datetime) -> None:
    """The days are worked on after all; told again, the first time stands."""
    Absence.objects.filter(pk=row.pk, withdrawn_at=None).update(withdrawn_at=now)
