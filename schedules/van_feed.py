"""A technician's calendar: the stops of the days around today, without what opens doors."""

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

from django.utils.translation import gettext as _
from icalendar import Event

from equipment.models import Desk
from schedules.calendar_events import KEEP_PAST, Entry, Wanted, add_times, in_zone
from schedules.models import Technician, Visit
from shared import clock

DAYS_AHEAD = 90
_WAS_THERE = (Visit.State.COMPLETED, Visit.State.NO_ACCESS)


def wanted(technician: Technician, now: datetime) -> Wanted:
    """What the technician's calendar is to show: one event a stop; handed over it is another's event."""
    desk = Desk.the()
    today = clock.local_day(now, desk.zone)
    rows = technician.visits.filter(day__range=(today - KEEP_PAST, today + timedelta(days=DAYS_AHEAD)))
    rows = rows.filter(state__in=(*Visit.ON_A_DAY, *_WAS_THERE)).select_related("site__customer")
    visits = list(rows.prefetch_related("jobs__slot", "jobs__task").order_by("day", "pk"))
    names = {visit.pk: f"stop-{visit.pk}-{technician.pk}@{desk.calendar_key}" for visit in visits}
    return Wanted(
        title=_("Rounds of %(name)s") % {"name": technician.name},
        of="rounds",
        again=timedelta(hours=1),
        zone=desk.zone,
        entries=[
            Entry(_event(visit, names[visit.pk], desk.zone), visit=visit.pk)
            for visit in visits
            if visit.state in Visit.ON_A_DAY
        ],
        as_they_are={names[visit.pk] for visit in visits if visit.state in _WAS_THERE},
    )


def _event(visit: Visit, uid: str, zone: ZoneInfo) -> Event:
    event = Event()
    event.add("uid", uid)
    first, last = (in_zone(at, zone) if at else None for at in (visit.arrive_at, visit.leave_at))
    add_times(event, visit.day, first, last)
    number = f"{visit.stop_number}. " if visit.stop_number else ""
    event.add("summary", f"{number}{visit.site.customer}")
    event.add("description", "\n".join(_jobs(visit)))
    event.add("status", "CONFIRMED")
    if visit.site.address:
        event.add("location", visit.site.address)
    if visit.site.latitude is not None and visit.site.longitude is not None:
        event.add("geo", (visit.site.latitude, visit.site.longitude))
    return event


def _jobs(visit: Visit) -> list[str]:
    jobs = list(visit.jobs.all())
    filters = [f"{job.slot.size}, {job.slot.location or job.slot.name}" for job in jobs if job.slot]
    return filters + [job.task.name for job in jobs if job.task]
