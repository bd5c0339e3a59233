"""The desk's load: a day an event, stops and hours, and an address that can be turned."""

from datetime import date, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from schedules.models import Feed, Technician, Visit
from tests.calendars import events
from tests.factories import NOW, TODAY, AbsenceFactory, TechnicianFactory, VisitFactory

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(minutes=5)
TOMORROW = f"load-{TODAY + timedelta(days=1)}"


@pytest.fixture
def gwen() -> Technician:
    return TechnicianFactory(name="Gwen")


def book(gwen: Technician, **more: object) -> Visit:
    return VisitFactory(
        technician=gwen, day=TODAY + timedelta(days=1), state=Visit.State.SCHEDULED, minutes=65, **more
    )


def test_a_day_says_its_stops_and_hours_and_blocks_nothing(gwen: Technician) -> None:
    TechnicianFactory(name="Hal", weekdays=[])
    book(gwen)
    book(gwen)
    event = events(None, NOW)[TOMORROW]
    assert str(event["SUMMARY"]) == "2 stops, 2 h 10 of 9 h"
    assert str(event["DESCRIPTION"]) == "Gwen: 2 stops, 2 h 10 of 9 h"
    assert event["DTSTART"].dt == TODAY + timedelta(days=1)
    assert str(event["TRANSP"]) == "TRANSPARENT"


def test_six_weeks_of_working_days_are_shown(gwen: Technician) -> None:
    found = events(None, NOW)
    assert len(found) == 30
    assert str(found[TOMORROW]["SUMMARY"]) == "0 stops, 0 h of 9 h"


def test_who_is_away_does_not_count_and_their_stops_stay_to_be_seen(gwen: Technician) -> None:
    book(gwen)
    AbsenceFactory(technician=gwen, first_day=TODAY, last_day=date(2026, 5, 15))
    assert str(events(None, NOW)[TOMORROW]["SUMMARY"]) == "1 stop, 1 h 05 of 0 h"


def test_a_day_that_loses_its_work_is_called_off_and_a_day_that_is_over_stays(gwen: Technician) -> None:
    book(gwen)
    before = events(None, NOW)
    AbsenceFactory(first_day=date(2026, 5, 25), last_day=date(2026, 5, 25))
    after = events(None, NOW + timedelta(days=4))
    assert str(after["load-2026-05-25"]["STATUS"]) == "CANCELLED"
    assert after[TOMORROW] == before[TOMORROW]
    assert TOMORROW not in events(None, NOW + timedelta(days=20))


def test_the_manager_makes_and_turns_the_address(
    manager: Client, technician: Client, stranger: Client, gwen: Technician
) -> None:
    address = reverse("load-feed")
    assert technician.post(address).status_code == 403
    text = manager.post(address, follow=True).text
    feed = Feed.objects.get()
    assert feed.secret in text
    answer = stranger.get(reverse("feed", args=[feed.secret]))
    assert "NAME:Load of Service desk" in answer.text
    assert "The old calendar address answers no more" in manager.post(address, follow=True).text
    assert stranger.get(reverse("feed", args=[feed.secret])).status_code == 410
