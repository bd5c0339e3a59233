"""Days without work, and the visits that were booked on them."""

from django.db import transaction
from django.db.models import QuerySet

from schedules.models import Absence, Visit
from schedules.visits import displace


def booked_during(absence: Absence) -> "QuerySet[Visit]":
    """The open visits of the days, of the technician or of all where the whole desk is off, by day."""
    rows = Visit.objects.filter(
        state__in=Visit.ON_A_DAY, day__range=(absence.first_day, absence.last_day)
    ).select_related("site__customer", "technician")
    if absence.technician_id is not None:
        rows = rows.filter(technician=absence.technician_id)
    return rows.order_by("day", "arrive_at", "pk")


def free_visits(absence: Absence) -> int:
    """Take the visits of the days off their day, to wait for another; how many. Who was told of one is
    written to as of any visit that loses its day."""
    count = 0
    with transaction.atomic():
        for visit in booked_during(absence).exclude(state=Visit.State.UNDER_WAY):
            displace(visit, visit.note)
            count += 1
    return count
