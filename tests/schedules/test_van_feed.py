"""A technician's calendar: stops that keep their names, read back by a calendar library; no access notes."""

from datetime import UTC, datetime, timedelta

import icalendar
import pytest
import recurring_ical_events
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from equipment.models import FilterSlot, User
from schedules.models import Feed, Technician, Visit
from tests.calendars import body, events, served
from tests.factories import NOW, TODAY, TechnicianFactory, VisitFactory, VisitJobFactory

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(minutes=5)


@pytest.fixture
def terry(technician_user: User) -> Technician:
    return technician_user.technician


@pytest.fixture
def visit(home_slot: FilterSlot, terry: Technician) -> Visit:
    FilterSlot.objects.filter(pk=home_slot.pk).update(access_notes="code 4711", location="hall")
    made: Visit = VisitFactory(
        site=home_slot.system.site, technician=terry, day=TODAY, stop_number=2,
        state=Visit.State.SCHEDULED, arrive_at=NOW, leave_at=NOW + timedelta(minutes=34),
    )  # fmt: skip
    VisitJobFactory(visit=made, slot=home_slot)
    return made


def test_a_stop_says_when_where_and_what_and_opens_no_door(visit: Visit, terry: Technician) -> None:
    text = body(terry, NOW)
    day = datetime(2026, 5, 12, tzinfo=UTC)
    calendar = icalendar.Calendar.from_ical(text)
    (event,) = recurring_ical_events.of(calendar).between(day, day + timedelta(days=1))
    assert event["DTSTART"].dt == visit.arrive_at
    assert event["DTEND"].dt == visit.leave_at
    assert str(event["SUMMARY"]).startswith("2. ")
    assert "16 × 25 × 1 in, hall" in str(event["DESCRIPTION"])
    assert b"4711" not in text


def test_a_moved_stop_keeps_its_name_and_its_number_rises(visit: Visit, terry: Technician) -> None:
    ((name, before),) = events(terry, NOW).items()
    visit.arrive_at, visit.leave_at = NOW + timedelta(hours=2), NOW + timedelta(hours=3)
    visit.save()
    after = events(terry, LATER)[name]
    assert after["SEQUENCE"] == before["SEQUENCE"] + 1
    visit.state = Visit.State.CANCELLED
    visit.save()
    assert str(events(terry, LATER)[name]["STATUS"]) == "CANCELLED"


def test_a_stop_handed_over_is_off_for_one_and_on_for_the_other(visit: Visit, terry: Technician) -> None:
    colleague = TechnicianFactory()
    ((name, _event),) = events(terry, NOW).items()
    assert events(colleague, NOW) == {}
    Visit.objects.update(technician=colleague)
    assert str(events(terry, LATER)[name]["STATUS"]) == "CANCELLED"
    ((other, event),) = events(colleague, LATER).items()
    assert other != name
    assert str(event["STATUS"]) == "CONFIRMED"
    Visit.objects.update(technician=terry)
    assert str(events(terry, LATER)[name]["STATUS"]) == "CONFIRMED"


def test_an_hour_that_the_clocks_show_twice_is_written_in_utc(visit: Visit, terry: Technician) -> None:
    second = datetime(2026, 11, 1, 7, 30, tzinfo=UTC)  # half past one in Chicago, once more
    Visit.objects.update(day=second.date(), arrive_at=second, leave_at=second + timedelta(hours=2))
    text = body(terry, datetime(2026, 10, 25, tzinfo=UTC)).decode()
    assert "DTSTART:20261101T073000Z" in text
    assert "DTEND;TZID=America/Chicago:20261101T033000" in text


def test_many_stops_cost_no_more_queries_than_one(
    visit: Visit, terry: Technician, home_slot: FilterSlot
) -> None:
    def queries() -> int:
        with CaptureQueriesContext(connection) as caught:
            served(terry, LATER)
        return len(caught)

    served(terry, NOW)
    few = queries()
    for hour in range(20):
        at = NOW + timedelta(hours=hour)
        made = VisitFactory(
            technician=terry, day=TODAY, state=Visit.State.SCHEDULED, arrive_at=at, leave_at=at
        )
        VisitJobFactory(visit=made, slot=home_slot)
    served(terry, LATER)
    assert queries() <= few


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
