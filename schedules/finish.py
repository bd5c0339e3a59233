"""A visit completed, at its day or before it, and the day that it leaves put in order again."""

from contextlib import suppress
from dataclasses import dataclass
from datetime import date, datetime

from equipment.models import Desk, User
from schedules import visits
from schedules.day_problem import NoStart
from schedules.models import Visit
from schedules.routes import DayPlan, order_day
from shared import clock


@dataclass(frozen=True)
class Finished:
    """The later day that the visit was booked for, where it was done before it, and that day's new order."""

    booked_for: date | None = None
    order: DayPlan | None = None


def finish(visit: Visit, outcome: visits.Outcome, user: User, now: datetime) -> Finished:
    """Complete the visit as told. Raises NotRecordable; the visit on record then stays as it was."""
    booked_for = visits.bring_forward(visit, clock.local_day(outcome.at, Desk.the().zone))
    visits.complete(visit, outcome, user, now)
    if booked_for is None or visit.technician is None:
        return Finished(booked_for)
    with suppress(NoStart):
        return Finished(booked_for, order_day(visit.technician, booked_for, now))
    return Finished(booked_for)
