"""Who could be at a home first today, by the rounds as they run."""

from dataclasses import dataclass, replace
from datetime import datetime

from django.db import transaction

from equipment.models import Desk
from schedules import routes, visits
from schedules.bookable import NotBookable
from schedules.day_problem import NoStart
from schedules.models import Technician
from schedules.visits import Booking
from shared import clock


@dataclass(frozen=True)
class CouldCome:
    """A technician, when they could arrive today with every promise kept, or why they could not."""

    technician: Technician
    arrive_at: datetime | None
    why: str = ""


def soonest(booking: Booking, now: datetime) -> list[CouldCome]:
    """Every technician, the first to arrive first; nothing is booked."""
    found = [_trial(booking, one, now) for one in Technician.objects.filter(gone_on=None).order_by("name")]
    return sorted(found, key=lambda one: (one.arrive_at is None, one.arrive_at or now, one.technician.name))


def _trial(booking: Booking, technician: Technician, now: datetime) -> CouldCome:
    day = clock.local_day(now, Desk.the().zone)
    with transaction.atomic():
        try:
            visit = visits.book(replace(booking, technician=technician, day=day, sure=True), now)
            why = routes.fit_in(visit, now)
            visit.refresh_from_db()
            return CouldCome(technician, None if why else visit.arrive_at, why)
        except (NotBookable, NoStart) as error:
            return CouldCome(technician, None, str(error))
        finally:
            transaction.set_rollback(True)
