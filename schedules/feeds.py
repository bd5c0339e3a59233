"""Calendar bytes of a household, with UIDs that stay and validators for conditional requests."""

import hashlib
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.utils.translation import gettext as _
from icalendar import Alarm, Calendar, Event

from equipment.access import units_at
from equipment.meanwhile import for_now, next_media
from equipment.models import Desk, FilterSlot, Media, Site
from schedules.addresses import absolute
from schedules.explain import explain
from schedules.models import Feed, Policy, Visit
from schedules.visit_promises import Promise
from shared import clock


@dataclass(frozen=True)
class CalendarFile:
    """A calendar as served: its bytes and their validator."""

    body: bytes
    etag: str


def address(feed: Feed) -> str:
    """The secret address to subscribe to."""
    return absolute("feed", feed.secret)


def feed_of(site: Site) -> Feed:
    """The site's open feed, made when there is none."""
    return site.feeds.filter(withdrawn_at=None).first() or Feed.objects.create(site=site)


def render(site: Site, now: datetime) -> CalendarFile:
    """The site's filters and visits as an iCalendar file (RFC 5545, name and refresh by RFC 7986)."""
    desk = Desk.the()
    title = _("Filters at %(place)s") % {"place": site.street or site.name}
    calendar = begun("filter dates", title, timedelta(hours=12))
    today = clock.local_day(now, site.zone(desk.timezone))
    slots = _slots(site)
    media, units = next_media(slots, now, for_now(slots, now)), units_at(site)
    for slot in slots:
        if slot.plan.due_on and not slot.plan.needs_technician:
            medium = media[slot.pk]
            calendar.add_component(_filter_event(slot, medium, slot.plan.due_on, today, desk, units))
    for visit in site.visits.filter(state__in=Visit.ON_A_DAY).order_by("day", "pk"):
        calendar.add_component(_visit_event(visit, desk))
    return ended(calendar)


def begun(of: str, title: str, refresh: timedelta) -> Calendar:
    """An empty calendar to publish, named ``title``, that readers are to fetch again after ``refresh``."""
    calendar = Calendar()
    calendar.add("prodid", f"-//servicedesk//{of}//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    calendar.add("name", title)
    calendar.add("x-wr-calname", title)
    calendar.add("refresh-interval", refresh, parameters={"VALUE": "DURATION"})
    return calendar


def ended(calendar: Calendar) -> CalendarFile:
    """The calendar's bytes and the validator that is theirs alone."""
    body = calendar.to_ical()
    return CalendarFile(body, f'"{hashlib.sha256(body).hexdigest()[:32]}"')


def visit_file(visit: Visit, promise: Promise, now: datetime) -> bytes:
    """One visit as an iCalendar file for its letter, under the UID that the feed gives it."""
    desk, calendar, event = Desk.the(), Calendar(), Event()
    calendar.add("prodid", "-//servicedesk//filter dates//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    event.add("uid", f"visit-{visit.pk}@{desk.calendar_key}")
    event.add("dtstamp", now)
    event.add("sequence", visit.notices.count())
    event.add("summary", _("Visit by %(desk)s") % {"desk": desk.name})
    event.add("status", "CONFIRMED" if promise.coming else "CANCELLED")
    day = promise.day or visit.day or clock.local_day(now, desk.zone)
    if promise.first and promise.last:
        event.add("dtstart", promise.first)
        event.add("dtend", promise.last)
    else:
        event.add("dtstart", day)
        event.add("dtend", day + timedelta(days=1))
    calendar.add_component(event)
    return bytes(calendar.to_ical())


def _slots(site: Site) -> list[FilterSlot]:
    rows = FilterSlot.objects.in_use().filter(system__site=site, plan__due_on__isnull=False)
    return list(rows.select_related("system__site", "plan", "first_media").order_by("name"))


def _filter_event(
    slot: FilterSlot, media: Media | None, due: date, today: date, desk: Desk, units: str
) -> Event:
    explained = explain(slot, slot.plan, today, Policy.the(), units)
    size = slot.size_in(units) + (f", MERV {media.merv}" if media else "")
    event = Event()
    event.add("uid", f"filter-{slot.pk}@{desk.calendar_key}")
    # The stamp is the plan's, so that the same plan always gives the same bytes.
    event.add("dtstamp", slot.plan.made_at)
    event.add("last-modified", slot.plan.made_at)
    # An overdue filter stands on today, where somebody sees it, not in the past.
    day = max(due, today)
    event.add("dtstart", day)
    event.add("dtend", day + timedelta(days=1))
    event.add("summary", _("Change the air filter: %(size)s") % {"size": size})
    event.add("description", "\n".join(filter(None, (slot.location, explained.why, explained.sure))))
    event.add("transp", "TRANSPARENT")
    if slot.system.site.address:
        event.add("location", slot.system.site.address)
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", event["summary"])
    alarm.add("trigger", timedelta(hours=9))
    event.add_component(alarm)
    return event


def _visit_event(visit: Visit, desk: Desk) -> Event:
    event = event_of(visit, f"visit-{visit.pk}@{desk.calendar_key}")
    event.add("summary", _("Visit by %(desk)s") % {"desk": desk.name})
    return event


def event_of(visit: Visit, uid: str) -> Event:
    """An event of that name at the visit's time, or on its day where it has none yet."""
    event = Event()
    event.add("uid", uid)
    stamp = visit.history.latest().history_date
    event.add("dtstamp", stamp)
    event.add("last-modified", stamp)
    if visit.arrive_at and visit.leave_at:
        event.add("dtstart", visit.arrive_at)
        event.add("dtend", visit.leave_at)
    elif visit.day:
        event.add("dtstart", visit.day)
        event.add("dtend", visit.day + timedelta(days=1))
    return event
