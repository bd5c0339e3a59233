"""A household's calendar: the days by which filters are due, and the visits as they were promised."""

from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db.models import Count
from django.utils import translation
from django.utils.translation import gettext as _
from icalendar import Alarm, Event

from equipment.access import units_at
from equipment.languages import language_at
from equipment.meanwhile import for_now, next_media
from equipment.models import Desk, FilterSlot, Media, Site
from schedules.calendar_events import KEEP_PAST, Entry, Wanted, add_times, in_zone
from schedules.explain import explain, say_day
from schedules.models import Policy, Visit
from schedules.visit_notices import told_by_visit
from schedules.visit_promises import Promise, hours_words, promise_of, still_true
from shared import clock

_WAS_THERE = (Visit.State.COMPLETED, Visit.State.NO_ACCESS)


def uid_of(visit: Visit) -> str:
    """The name of a visit in its household's calendar and letters; it stays."""
    return f"visit-{visit.pk}@{Desk.the().calendar_key}"


def wanted(site: Site, now: datetime) -> Wanted:
    """What the household's calendar is to show, in its reader's language and zone."""
    desk = Desk.the()
    zone = site.zone(desk.timezone)
    with translation.override(language_at(site)):
        visits, over = _visits(site, desk, zone, now)
        return Wanted(
            title=_("Filters at %(place)s") % {"place": site.street or site.name},
            of="filter dates",
            again=timedelta(hours=12),
            zone=zone,
            entries=[*_filters(site, desk, zone, now), *visits],
            as_they_are=over,
        )


def promised(visit: Visit, told: Promise | None) -> Promise:
    """What the household was told where that still holds, else what may be told as the visit stands."""
    return told if told is not None and still_true(told, visit) else promise_of(visit)


def visit_event(visit: Visit, promise: Promise, desk: Desk, zone: ZoneInfo) -> Event:
    """The visit by what was promised of it, hours or the day; nobody is told the planned minute."""
    event = Event()
    event.add("uid", f"visit-{visit.pk}@{desk.calendar_key}")
    first, last = (in_zone(at, zone) if at else None for at in (promise.first, promise.last))
    add_times(event, promise.day, first, last)
    event.add("summary", _("Visit by %(desk)s") % {"desk": desk.name})
    said = {"who": visit.technician, "desk": desk.name, "when": hours_words(promise, zone)}
    event.add("description", _("%(who)s of %(desk)s comes %(when)s.") % said)
    event.add("status", "CONFIRMED")
    if visit.site.address:
        event.add("location", visit.site.address)
    return event


def _visits(site: Site, desk: Desk, zone: ZoneInfo, now: datetime) -> tuple[list[Entry], set[str]]:
    """The visits to come, and the names of those that took place."""
    since = clock.local_day(now - KEEP_PAST, zone)
    rows = site.visits.filter(day__gte=since, state__in=(*Visit.ON_A_DAY, *_WAS_THERE))
    visits = list(rows.select_related("technician", "site").annotate(letters=Count("notices")))
    told = told_by_visit({visit.pk for visit in visits})
    entries, over = [], set()
    for visit in visits:
        if visit.state in _WAS_THERE:
            over.add(f"visit-{visit.pk}@{desk.calendar_key}")
            continue
        event = visit_event(visit, promised(visit, told.get(visit.pk)), desk, zone)
        entries.append(Entry(event, visit=visit.pk, begins_with=visit.letters))
    return entries, over


def _filters(site: Site, desk: Desk, zone: ZoneInfo, now: datetime) -> list[Entry]:
    rows = FilterSlot.objects.in_use().filter(system__site=site, plan__due_on__isnull=False)
    slots = list(rows.select_related("system__site", "plan", "first_media").order_by("name"))
    media, units, policy = next_media(slots, now, for_now(slots, now)), units_at(site), Policy.the()
    today = clock.local_day(now, zone)
    return [
        Entry(_filter_event(slot, media[slot.pk], today, desk, policy, units), slot=slot.pk)
        for slot in slots
        if not slot.plan.needs_technician
    ]


def _filter_event(
    slot: FilterSlot, media: Media | None, today: date, desk: Desk, policy: Policy, units: str
) -> Event:
    due = slot.plan.due_on or today
    explained = explain(slot, slot.plan, today, policy, units)
    size = slot.size_in(units) + (f", MERV {media.merv}" if media else "")
    event = Event()
    event.add("uid", f"filter-{slot.pk}@{desk.calendar_key}")
    # It stays on the day by which it was due: an event that moves every day rings every day.
    add_times(event, due, None, None)
    late = _("Change the air filter, due since %(day)s: %(size)s") % {"day": say_day(due), "size": size}
    summary = late if due < today else _("Change the air filter: %(size)s") % {"size": size}
    event.add("summary", summary)
    event.add("description", "\n".join(filter(None, (slot.location, explained.why, explained.sure))))
    event.add("transp", "TRANSPARENT")
    if slot.system.site.address:
        event.add("location", slot.system.site.address)
    alarm = Alarm()
    alarm.add("action", "DISPLAY")
    alarm.add("description", summary)
    alarm.add("trigger", timedelta(hours=9))
    event.add_component(alarm)
    return event
