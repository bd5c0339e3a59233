"""A technician's calendar: the stops of the days around today, without what opens doors."""

from datetime import datetime, timedelta

from django.utils.translation import gettext as _
from icalendar import Event

from equipment.models import Desk
from schedules.feeds import CalendarFile, begun, ended, event_of
from schedules.models import Feed, Technician, Visit
from shared import clock

# A stop called off stays so long, for readers to see it vanish.
DAYS_BACK, DAYS_AHEAD = 14, 90


def feed_of(technician: Technician) -> Feed:
    """The technician's open feed, made when there is none."""
    return technician.feeds.filter(withdrawn_at=None).first() or Feed.objects.create(technician=technician)


def render(technician: Technician, now: datetime) -> CalendarFile:
    """The technician's stops as an iCalendar file (RFC 5545), one event each, UIDs that stay."""
    desk = Desk.the()
    title = _("Rounds of %(name)s") % {"name": technician.name}
    calendar = begun("rounds", title, timedelta(hours=1))
    today = clock.local_day(now, desk.zone)
    rows = technician.visits.filter(
        day__range=(today - timedelta(days=DAYS_BACK), today + timedelta(days=DAYS_AHEAD))
    )
    jobs = ("jobs__slot", "jobs__task")
    for visit in rows.select_related("site__customer").prefetch_related(*jobs).order_by("day", "pk"):
        calendar.add_component(_event(visit, desk))
    return ended(calendar)


def _event(visit: Visit, desk: Desk) -> Event:
    event = event_of(visit, f"stop-{visit.pk}@{desk.calendar_key}")
    event.add("sequence", visit.history.count() - 1)
    event.add("status", "CANCELLED" if visit.state == Visit.State.CANCELLED else "CONFIRMED")
    number = f"{visit.stop_number}. " if visit.stop_number else ""
    event.add("summary", f"{number}{visit.site.customer}")
    event.add("description", "\n".join(_jobs(visit)))
    if visit.site.address:
        event.add("location", visit.site.address)
    if visit.site.latitude is not None and visit.site.longitude is not None:
        event.add("geo", (visit.site.latitude, visit.site.longitude))
    return event


def _jobs(visit: Visit) -> list[str]:
    jobs = list(visit.jobs.all())
    filters = [f"{job.slot.size}, {job.slot.location or job.slot.name}" for job in jobs if job.slot]
    return filters + [job.task.name for job in jobs if job.task]
