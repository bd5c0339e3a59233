"""A visit's letter carries an invitation, its update or its end, alike with the calendar of the home."""

from datetime import timedelta
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from django.core import mail
from icalendar import Calendar, Event

from equipment.models import Desk, FilterSlot, Person, Site
from schedules import emails, visit_notices
from schedules.models import CalendarEvent, Notice, Visit
from tests.calendars import events
from tests.factories import NOW, TODAY, TechnicianFactory, VisitFactory, VisitJobFactory

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=1)
TOMORROW = TODAY + timedelta(days=1)
TEN = NOW + timedelta(days=1, minutes=10)


@pytest.fixture
def visit(home: Site, home_slot: FilterSlot, homeowner_person: Person) -> Visit:
    made: Visit = VisitFactory(
        site=home, technician=TechnicianFactory(name="Gwen"), day=TOMORROW, state=Visit.State.SCHEDULED,
        arrive_at=TEN, leave_at=TEN + timedelta(minutes=30),
    )  # fmt: skip
    VisitJobFactory(visit=made, slot=home_slot, task=None)
    return made


@pytest.fixture
def desk() -> Desk:
    Desk.the()
    Desk.objects.update(email="desk@ferrygate.example", name="Ferrygate")
    return Desk.the()


def letter(visit: Visit, now: object) -> EmailMessage:
    """The next letter of the visit, as it went over the wire; what it said is then what was told."""
    visit_notices.write_visits(now)
    notice = Notice.objects.get(visit=visit, state=Notice.State.WAITING)
    made = emails.letter_for(notice, now)
    emails.message_of(made).send()
    Notice.objects.filter(pk=notice.pk).update(state=Notice.State.SENT, sent_at=now, said=made.said)
    return message_from_bytes(mail.outbox[-1].message().as_bytes(), policy=policy.default)


def calendar_of(message: EmailMessage) -> tuple[str, Event]:
    """The method and event of the letter's calendar, which are those of every part that holds one."""
    parts = [part for part in message.walk() if part.get_content_type() == "text/calendar"]
    (text,) = {part.get_content() for part in parts}
    calendar = Calendar.from_ical(text)
    (event,) = calendar.events
    for part in parts:
        assert part.get_param("method", str(calendar["METHOD"])) == str(calendar["METHOD"])
        assert part.get_content_charset() == "utf-8"
    return str(calendar["METHOD"]), event


def test_a_visit_with_hours_is_an_invitation_that_wants_no_answer(visit: Visit, desk: Desk) -> None:
    message = letter(visit, NOW)
    method, event = calendar_of(message)
    assert method == "REQUEST"
    assert str(event["ORGANIZER"]) == "mailto:desk@ferrygate.example"
    assert str(event["ATTENDEE"]) == "mailto:robin@home.example"
    said = {name: event["ATTENDEE"].params[name] for name in ("CN", "RSVP", "PARTSTAT")}
    assert said == {"CN": "Robin Reed", "RSVP": "FALSE", "PARTSTAT": "NEEDS-ACTION"}
    alternatives = message.get_body(("plain",)), message.get_body(("html",))
    assert None not in alternatives
    assert [part.get_filename() for part in message.iter_attachments()] == ["invite.ics"]


def test_letter_and_calendar_say_the_same_of_one_event(visit: Visit, desk: Desk, home: Site) -> None:
    for change in (
        {},
        {"day": TOMORROW + timedelta(days=6), "arrive_at": TEN + timedelta(days=6)},
        {"state": "cancelled"},
    ):
        Visit.objects.update(**change)
        _method, invited = calendar_of(letter(visit, LATER))
        shown = events(home, LATER)[f"visit-{visit.pk}"]
        for name in ("UID", "SEQUENCE", "DTSTAMP", "LAST-MODIFIED", "DTSTART", "DTEND", "STATUS", "SUMMARY"):
            assert invited[name] == shown[name], name


def test_a_move_is_an_update_and_a_call_off_a_cancel(visit: Visit, desk: Desk) -> None:
    first = calendar_of(letter(visit, NOW))
    Visit.objects.update(arrive_at=TEN + timedelta(hours=3), leave_at=TEN + timedelta(hours=4))
    moved = calendar_of(letter(visit, LATER))
    Visit.objects.update(state=Visit.State.CANCELLED)
    off = calendar_of(letter(visit, LATER + timedelta(hours=1)))
    assert [method for method, _event in (first, moved, off)] == ["REQUEST", "REQUEST", "CANCEL"]
    assert len({str(event["UID"]) for _method, event in (first, moved, off)}) == 1
    numbers = [event["SEQUENCE"] for _method, event in (first, moved, off)]
    assert numbers == [numbers[0], numbers[0] + 1, numbers[0] + 2]
    assert moved[1]["DTSTART"].dt - first[1]["DTSTART"].dt == timedelta(hours=3)
    assert str(off[1]["STATUS"]) == "CANCELLED"
    assert off[1]["ATTENDEE"] == first[1]["ATTENDEE"]


def test_a_visit_called_off_that_no_calendar_has_shown_is_cancelled_all_the_same(
    visit: Visit, desk: Desk
) -> None:
    letter(visit, NOW)
    CalendarEvent.objects.all().delete()
    Visit.objects.update(state=Visit.State.DISPLACED, day=None, technician=None, arrive_at=None)
    method, event = calendar_of(letter(visit, LATER))
    assert (method, str(event["STATUS"])) == ("CANCEL", "CANCELLED")
    assert event["SEQUENCE"] > 0


def test_without_hours_or_without_the_desks_mail_it_is_a_plain_entry(visit: Visit, desk: Desk) -> None:
    Visit.objects.update(arrive_at=None, leave_at=None)
    method, event = calendar_of(letter(visit, NOW))
    assert (method, event["DTSTART"].dt) == ("PUBLISH", TOMORROW)
    assert "ATTENDEE" not in event
    Desk.objects.update(email="")
    Visit.objects.update(arrive_at=TEN, leave_at=TEN + timedelta(minutes=30))
    message = letter(visit, LATER)
    assert calendar_of(message)[0] == "PUBLISH"
    assert [part.get_filename() for part in message.iter_attachments()] == ["visit.ics"]


@pytest.mark.parametrize("name", ['Zoë "Zo" Ñandú\nBcc: x@y.example', "; , : ^n", "   "])
def test_odd_names_and_addresses_stay_within_their_parameter(visit: Visit, desk: Desk, name: str) -> None:
    Person.objects.update(name=name, email="zoë@home.example")
    _method, event = calendar_of(letter(visit, NOW))
    assert str(event["ATTENDEE"]) == "mailto:zo%C3%AB@home.example"
    assert "\n" not in event["ATTENDEE"].params["CN"]
    assert event["ATTENDEE"].params["RSVP"] == "FALSE"
