"""A visit as a letter's calendar file: an invitation by iMIP (RFC 6047) where its hours are known."""

from dataclasses import dataclass
from datetime import datetime
from functools import partial
from urllib.parse import quote

from django.core.mail import EmailMultiAlternatives
from icalendar import Calendar, Event, vCalAddress

from equipment.models import Desk, Person
from schedules import home_feed
from schedules.calendar_events import Owner, Wanted, joined, refresh, store_one
from schedules.models import CalendarEvent, Visit
from schedules.visit_promises import Promise

PUBLISH, REQUEST, CANCEL = "PUBLISH", "REQUEST", "CANCEL"


@dataclass(frozen=True)
class Told:
    """Whom a letter tells of a visit: how it stands, and the last that they were told before."""

    visit: Visit
    reader: Person | None
    stands: Promise
    before: Promise | None
    # Whether an earlier letter put it into this reader's calendar.
    invited: bool = False

    @property
    def of_hours(self) -> bool:
        """Whether hours are told, or what is told changes or ends an invitation."""
        spoken = self.stands if self.stands.coming else self.before
        return self.invited or (spoken is not None and spoken.first is not None)


@dataclass(frozen=True)
class File:
    """A calendar file and what it asks of a calendar program."""

    body: bytes
    method: str


def file_for(told: Told, now: datetime) -> File:
    """The visit under the name, numbers and hours that its household's calendar gives it."""
    visit, desk = told.visit, Desk.the()
    owner = Owner(site=visit.site)
    wanted = refresh(owner, partial(home_feed.wanted, visit.site, now), now)
    row = CalendarEvent.objects.filter(uid=home_feed.uid_of(visit)).first() or _first_row(told, wanted, now)
    if not desk.email or told.reader is None or not told.reader.email or not told.of_hours:
        return _file(PUBLISH, row, row.text, wanted)
    method = REQUEST if told.stands.coming else CANCEL
    return _file(method, row, _addressed(row.text, desk, told.reader), wanted)


def attach(mail: EmailMultiAlternatives, file: File) -> None:
    """Put the file on the mail: an invitation is read as a part of the letter and kept as a file."""
    text = file.body.decode()
    if file.method == PUBLISH:
        mail.attach("visit.ics", text, "text/calendar")
        return
    mail.attach_alternative(text, f"text/calendar; method={file.method}")
    mail.attach("invite.ics", text, f"text/calendar; method={file.method}")


def _first_row(told: Told, wanted: Wanted, now: datetime) -> CalendarEvent:
    """The row of a visit that was told of and called off before any calendar showed it."""
    visit, desk = told.visit, Desk.the()
    spoken = told.stands if told.stands.coming else told.before or told.stands
    if spoken.day is None:
        spoken = Promise(False, visit.day or now.astimezone(wanted.zone).date())
    event = home_feed.visit_event(visit, spoken, desk, wanted.zone)
    return store_one(Owner(site=visit.site), event, visit, told.stands.coming, wanted.zone, now)


def _file(method: str, row: CalendarEvent, text: str, wanted: Wanted) -> File:
    calendar = Calendar()
    calendar.add("prodid", f"-//servicedesk//{wanted.of}//EN")
    calendar.add("version", "2.0")
    calendar.add("method", method)
    return File(joined(calendar, [text], wanted.zone, row.first_at.year), method)


def _addressed(text: str, desk: Desk, reader: Person) -> str:
    """The event as sent by the desk to its reader, who need not answer."""
    event = Event.from_ical(text)
    event.add("organizer", _named(desk.email, desk.name))
    attendee = _named(reader.email, reader.name)
    attendee.params["ROLE"] = "REQ-PARTICIPANT"
    attendee.params["PARTSTAT"] = "NEEDS-ACTION"
    attendee.params["RSVP"] = "FALSE"
    event.add("attendee", attendee)
    return bytes(event.to_ical()).decode()


def _named(email: str, name: str) -> vCalAddress:
    """A calendar address; of the name what a parameter can hold."""
    address = vCalAddress(f"mailto:{quote(email, safe='@+.!#$&*=?^_`{|}~/-')}")
    plain = "".join(sign if sign.isprintable() and sign not in '"^' else " " for sign in name)
    address.params["CN"] = " ".join(plain.split()) or email
    return address
