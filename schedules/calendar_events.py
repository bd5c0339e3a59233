"""Events rendered once, when they change: rows with the numbers that calendar programs go by."""

import hashlib
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

from django.db import transaction
from django.db.models import Q, QuerySet
from icalendar import Calendar, Event, vText

from equipment.models import Desk, Site
from schedules.models import CalendarEvent, Technician, Visit
from schedules.zone_rules import zone_rules
from shared import clock

# What is called off stays so long as cancelled, so that every reader fetches it once and drops the event.
KEEP_CANCELLED = timedelta(days=60)
# What is over stays so long in the calendar.
KEEP_PAST = timedelta(days=14)


@dataclass(frozen=True)
class Owner:
    """Whose calendar: a home's, a technician's, or with neither the desk's."""

    site: Site | None = None
    technician: Technician | None = None


@dataclass(frozen=True)
class Entry:
    """An event as it stands, without DTSTAMP, LAST-MODIFIED and SEQUENCE; ``begins_with`` is its first
    sequence, where a reader may know it from a letter."""

    event: Event
    visit: int | None = None
    slot: int | None = None
    begins_with: int = 0

    @property
    def uid(self) -> str:
        """The name of the event."""
        return str(self.event["UID"])


@dataclass(frozen=True)
class Wanted:
    """What a calendar is to show; ``as_they_are`` names what is over and stays as it was."""

    title: str
    of: str
    again: timedelta
    zone: ZoneInfo
    entries: list[Entry]
    as_they_are: set[str] = field(default_factory=set)


def in_zone(at: datetime, tz: ZoneInfo) -> datetime:
    """``at`` on the clocks of ``tz``; in UTC where they show it twice: which one, readers disagree."""
    local = at.astimezone(tz)
    plain = tz.key not in ("UTC", "Etc/UTC") and not clock.repeated(local.replace(tzinfo=None), tz)
    return local if plain else at.astimezone(UTC)


def add_times(event: Event, day: date | None, first: datetime | None, last: datetime | None) -> None:
    """The hours where they are known, else the whole day."""
    if first and last:
        event.add("dtstart", first)
        event.add("dtend", max(first, last))
    elif day:
        event.add("dtstart", day)
        event.add("dtend", day + timedelta(days=1))


def refresh(owner: Owner, wanted: Callable[[], Wanted], now: datetime) -> Wanted:
    """Bring the owner's rows to what is wanted, one process at a time."""
    with transaction.atomic():
        _hold(owner)
        found = wanted()
        _store(owner, found, now)
    return found


def store_one(
    owner: Owner, event: Event, visit: Visit, coming: bool, zone: ZoneInfo, now: datetime
) -> CalendarEvent:
    """Keep the event of a visit that no calendar has shown yet; called off where nobody is coming."""
    row = _made(owner, Entry(event, visit=visit.pk, begins_with=visit.notices.count()), zone, now)
    if not coming:
        row.cancelled_at, row.keep_until = now, now + KEEP_CANCELLED
        _rise(row, cancelled_text(row), True, now)
    row.save()
    return row


def body_of(owner: Owner, wanted: Wanted, now: datetime) -> bytes:
    """The calendar with the owner's rows as they are, and the zone that they need."""
    rows = _shown(owner, now).order_by("first_at", "uid")
    texts = list(rows.values_list("text", "first_at"))
    years = [first.year for _text, first in texts]
    return joined(published(wanted), [text for text, _first in texts], wanted.zone, min(years, default=0))


def joined(calendar: Calendar, texts: Iterable[str], zone: ZoneInfo, year: int) -> bytes:
    """The calendar's own lines, the rules of its zone from ``year`` on where they are needed, the events."""
    head, mark, end = bytes(calendar.to_ical()).rpartition(b"END:VCALENDAR")
    body = "".join(texts).encode()
    rules = zone_rules(zone.key, year) if f"TZID={zone.key}:".encode() in body else b""
    return head + rules + body + mark + end


def published(wanted: Wanted) -> Calendar:
    """An empty calendar to publish, with its name and when to fetch it again (RFC 7986)."""
    calendar = Calendar()
    calendar.add("prodid", f"-//servicedesk//{wanted.of}//EN")
    calendar.add("version", "2.0")
    calendar.add("method", "PUBLISH")
    for name in ("name", "x-wr-calname"):
        calendar.add(name, vText(wanted.title))
    calendar.add("refresh-interval", wanted.again, parameters={"VALUE": "DURATION"})
    return calendar


def later(now: datetime, before: datetime | None) -> datetime:
    """``now`` in whole seconds, as calendars and HTTP tell time, and always past ``before``."""
    at = now.replace(microsecond=0)
    return at if before is None else max(at, before + timedelta(seconds=1))


def cancelled_text(row: CalendarEvent) -> str:
    """The row's event as called off, without its numbers and alarms."""
    event = Event.from_ical(row.text)
    for name in ("DTSTAMP", "LAST-MODIFIED", "SEQUENCE", "STATUS"):
        event.pop(name, None)
    event.subcomponents.clear()
    event.add("status", "CANCELLED")
    return bytes(event.to_ical()).decode()


def _hold(owner: Owner) -> None:
    """Whoever refreshes the same calendar waits; SQLite lets one write at a time anyway."""
    if owner.site is not None:
        Site.objects.select_for_update().filter(pk=owner.site.pk).values_list("pk").first()
    elif owner.technician is not None:
        Technician.objects.select_for_update().filter(pk=owner.technician.pk).values_list("pk").first()
    else:
        Desk.objects.select_for_update().values_list("pk").first()


def _shown(owner: Owner, now: datetime) -> "QuerySet[CalendarEvent]":
    rows = CalendarEvent.objects.filter(site=owner.site, technician=owner.technician)
    return rows.filter(Q(keep_until=None) | Q(keep_until__gt=now))


def _store(owner: Owner, wanted: Wanted, now: datetime) -> None:
    entries = {entry.uid: entry for entry in wanted.entries}
    rows = {row.uid: row for row in _shown(owner, now)}
    resting = [uid for uid in entries if uid not in rows]
    rows |= {row.uid: row for row in CalendarEvent.objects.filter(uid__in=resting)}
    made, changed = [], []
    for uid, entry in entries.items():
        if uid not in rows:
            made.append(_made(owner, entry, wanted.zone, now))
        elif _written(rows[uid], entry, wanted.zone, now):
            changed.append(rows[uid])
    gone = [rows[uid] for uid in rows.keys() - entries.keys()]
    changed += [row for row in gone if _dropped(row, wanted, now)]
    CalendarEvent.objects.bulk_create(made)
    if changed:
        CalendarEvent.objects.bulk_update(changed, _NUMBERS, batch_size=200)


_NUMBERS = (
    "sequence", "timed_sequence", "content_hash", "text", "first_at", "last_at", "changed_at", "cancelled_at",
    "keep_until",
)  # fmt: skip


def _made(owner: Owner, entry: Entry, zone: ZoneInfo, now: datetime) -> CalendarEvent:
    row = CalendarEvent(
        uid=entry.uid,
        site=owner.site,
        technician=owner.technician,
        visit_id=entry.visit,
        slot_id=entry.slot,
        sequence=entry.begins_with,
        timed_sequence=entry.begins_with,
    )
    text = bytes(entry.event.to_ical()).decode()
    row.first_at, row.last_at = _hours(entry.event, zone)
    row.content_hash, row.changed_at = _hash(text), later(now, None)
    row.text = _numbered(text, row)
    return row


def _written(row: CalendarEvent, entry: Entry, zone: ZoneInfo, now: datetime) -> bool:
    """Set the row to its entry; whether it differed."""
    text = bytes(entry.event.to_ical()).decode()
    if row.content_hash == _hash(text):
        return False
    hours = _hours(entry.event, zone)
    retimed = row.cancelled_at is not None or (row.first_at, row.last_at) != hours
    row.first_at, row.last_at = hours
    row.cancelled_at = row.keep_until = None
    _rise(row, text, retimed, now)
    return True


def _dropped(row: CalendarEvent, wanted: Wanted, now: datetime) -> bool:
    """Call the row off, or let it rest where it is over; whether it changed."""
    if row.cancelled_at is not None or (row.uid in wanted.as_they_are and row.first_at <= now):
        return False
    # A filter whose day is past is still to be changed; anything else of a past day is over.
    if row.slot_id is None and row.last_at <= now - KEEP_PAST:
        row.keep_until, row.content_hash = now, ""
        return True
    row.cancelled_at, row.keep_until = now, now + KEEP_CANCELLED
    _rise(row, cancelled_text(row), True, now)
    return True


def _rise(row: CalendarEvent, text: str, retimed: bool, now: datetime) -> None:
    row.sequence += 1
    row.timed_sequence = row.sequence if retimed else row.timed_sequence
    row.content_hash, row.changed_at = _hash(text), later(now, row.changed_at)
    row.text = _numbered(text, row)


def _numbered(text: str, row: CalendarEvent) -> str:
    stamp = f"{row.changed_at.astimezone(UTC):%Y%m%dT%H%M%SZ}"
    numbers = f"DTSTAMP:{stamp}\r\nLAST-MODIFIED:{stamp}\r\nSEQUENCE:{row.sequence}\r\n"
    return text.replace("BEGIN:VEVENT\r\n", "BEGIN:VEVENT\r\n" + numbers, 1)


def _hash(text: str) -> str:
    return hashlib.sha256(text.encode()).hexdigest()


def _hours(event: Event, zone: ZoneInfo) -> tuple[datetime, datetime]:
    first, last = event.decoded("dtstart"), event.decoded("dtend")
    if isinstance(first, datetime):
        return first.astimezone(UTC), last.astimezone(UTC)
    return clock.start_of_day(first, zone), clock.start_of_day(last, zone)
