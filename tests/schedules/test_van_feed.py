"""A technician's calendar: stops that keep their names, read back by a calendar library; no access notes."""

from datetime import UTC, datetime, timedelta

import icalendar
import pytest
import recurring_ical_events
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, User
from schedules import van_feed
from schedules.models import Feed, Visit
from tests.factories import NOW, TODAY, TechnicianFactory, VisitFactory, VisitJobFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def visit(home_slot: FilterSlot, technician_user: User) -> Visit:
    FilterSlot.objects.filter(pk=home_slot.pk).update(access_notes="code 4711", location="hall")
    made: Visit = VisitFactory(
        site=home_slot.system.site, technician=technician_user.technician, day=TODAY, stop_number=2,
        state=Visit.State.SCHEDULED, arrive_at=NOW, leave_at=NOW + timedelta(minutes=34),
    )  # fmt: skip
    VisitJobFactory(visit=made, slot=home_slot)
    return made


def events(visit: Visit) -> list[icalendar.Event]:
    assert visit.technician is not None
    calendar = icalendar.Calendar.from_ical(van_feed.render(visit.technician, NOW).body)
    return list(calendar.walk("VEVENT"))


def test_a_stop_says_when_where_and_what_and_opens_no_door(visit: Visit) -> None:
    assert visit.technician is not None
    body = van_feed.render(visit.technician, NOW).body
    calendar = icalendar.Calendar.from_ical(body)
    day = datetime(2026, 5, 12, tzinfo=UTC)
    (event,) = recurring_ical_events.of(calendar).between(day, day + timedelta(days=1))
    assert event["DTSTART"].dt == visit.arrive_at
    assert event["DTEND"].dt == visit.leave_at
    assert str(event["SUMMARY"]).startswith("2. ")
    assert "16 × 25 × 1 in, hall" in str(event["DESCRIPTION"])
    assert b"4711" not in body


def test_a_moved_stop_keeps_its_name_and_its_number_rises(visit: Visit) -> None:
    (before,) = events(visit)
    visit.arrive_at, visit.leave_at = NOW + timedelta(hours=2), NOW + timedelta(hours=3)
    visit.save()
    (after,) = events(visit)
    assert after["UID"] == before["UID"]
    assert after["SEQUENCE"] > before["SEQUENCE"]
    visit.state = Visit.State.CANCELLED
    visit.save()
    (ended,) = events(visit)
    assert str(ended["STATUS"]) == "CANCELLED"


def test_the_address_is_secret_turned_and_answered_with_304(
    technician: Client, stranger: Client, manager: Client, visit: Visit
) -> None:
    address = reverse("van-feed", args=[visit.technician_id])
    text = technician.post(address, follow=True).text
    feed = Feed.objects.get()
    assert feed.secret in text
    first = stranger.get(reverse("feed", args=[feed.secret]))
    again = stranger.get(reverse("feed", args=[feed.secret]), headers={"If-None-Match": first["ETag"]})
    assert (first.status_code, again.status_code) == (200, 304)
    manager.post(address)
    assert stranger.get(reverse("feed", args=[feed.secret])).status_code == 410


def test_nobody_makes_the_calendar_of_a_colleague(technician: Client) -> None:
    colleague = TechnicianFactory()
    assert technician.post(reverse("van-feed", args=[colleague.pk])).status_code == 403
    assert not Feed.objects.exists()
