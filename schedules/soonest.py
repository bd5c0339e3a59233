"""Who could be at a home first today, by the rounds as they run."""

from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction

from equipment.models import Desk
from schedules import routes, visits
from schedules.bookable import NotBookable
from schedules.day_problem import NoStart
from schedules.models import Technician, Visit
from schedules.visit_notices import told_by_visit
from schedules.visits import Booking
from shared import clock

_MAY_GIVE_WAY = (Visit.State.SCHEDULED, Visit.State.CONFIRMED)
_MOST_TRIED = 4


@dataclass(frozen=True)
class CouldCome:
    """A technician, when they could arrive today with every promise kept, or why they could not.

    ``instead_of`` is a visit of theirs that would have to get another day for it.
    """

    technician: Technician
    arrive_at: datetime | None
    why: str = ""
    instead_of: Visit | None = None


def soonest(booking: Booking, now: datetime) -> list[CouldCome]:
    """Every technician, the first to arrive first; nothing is booked."""
    found = [_trial(booking, one, now) for one in Technician.objects.filter(gone_on=None).order_by("name")]
    return sorted(found, key=lambda one: (_rank(one), one.arrive_at or now, one.technician.name))


def _rank(one: CouldCome) -> int:
    """With every promise kept, with a visit displaced, not at all."""
    return 2 if one.arrive_at is None else int(one.instead_of is not None)


def _trial(booking: Booking, technician: Technician, now: datetime) -> CouldCome:
    day = clock.local_day(now, Desk.the().zone)
    with transaction.atomic():
        try:
            visit = visits.book(replace(booking, technician=technician, day=day, sure=True), now)
            why = routes.fit_in(visit, now)
            visit.refresh_from_db()
            return _displacing(visit, why, now) if why else CouldCome(technician, visit.arrive_at)
        except (NotBookable, NoStart) as error:
            return CouldCome(technician, None, str(error))
        finally:
            transaction.set_rollback(True)


def _displacing(visit: Visit, why: str, now: datetime) -> CouldCome:
    """The same with one of the day's other visits displaced: whom nobody told first, then the latest."""
    technician, day = visit.technician, visit.day
    assert technician is not None and day is not None  # noqa: S101, PT018
    later = Visit.objects.filter(technician=technician, day=day, state__in=_MAY_GIVE_WAY, pinned=False)
    rows = list(later.filter(arrive_at__gt=now).exclude(pk=visit.pk).select_related("site__customer"))
    told = told_by_visit({row.pk for row in rows})
    for other in sorted(rows, key=lambda row: (row.pk in told, -_arrival(row)))[:_MOST_TRIED]:
        with transaction.atomic():
            visits.displace(other, "")
            if not routes.fit_in(visit, now):
                visit.refresh_from_db()
                other.refresh_from_db()
                return CouldCome(technician, visit.arrive_at, instead_of=other)
            transaction.set_rollback(True)
    return CouldCome(technician, None, why)


def _arrival(visit: Visit) -> float:
    return visit.arrive_at.timestamp() if visit.arrive_at else 0.0
