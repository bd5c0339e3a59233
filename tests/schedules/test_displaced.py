"""A visit that something urgent takes the place of."""

from datetime import date, datetime, time, timedelta

import pytest
import time_machine
from django.test import Client

from equipment.models import FilterSlot, Person, Site, User
from schedules import call_list, visit_notices, visits
from schedules.bookable import NotBookable
from schedules.emails import letter_for
from schedules.models import Notice, Technician, Visit
from schedules.visit_promises import promise_of
from schedules.visits import Booking
from tests.factories import NoticeFactory

pytestmark = pytest.mark.django_db
TODAY = date(2026, 5, 12)


@pytest.fixture
def visit(
    home: Site, home_slot: FilterSlot, technician_user: User, homeowner_person: Person, now: datetime
) -> Visit:
    """This afternoon's, of which the household was told."""
    mine = Technician.objects.get(user=technician_user)
    hours = {"window_from": time(14), "window_to": time(16)}
    visit = visits.book(Booking(home, [home_slot], [], mine, TODAY, sure=True, **hours), now)
    said = promise_of(visit).as_json()
    NoticeFactory(
        kind="visit", site=home, visit=visit, person=homeowner_person, state="sent", said=said, sent_at=now
    )
    return visit


def test_it_waits_for_another_day_and_comes_first(
    technician: Client, manager: Client, visit: Visit, now: datetime
) -> None:
    with time_machine.travel(now, tick=False):
        answer = technician.post(
            f"/visits/{visit.pk}/displaced/", {"note": "no heat at the mill"}, follow=True
        )
        assert "waits for another day" in answer.text
        assert "expects somebody" in answer.text
        text = manager.get("/visits/").text
    visit.refresh_from_db()
    assert (visit.state, visit.day, visit.technician) == (Visit.State.DISPLACED, None, None)
    assert (visit.displaced_from, visit.times_displaced, visit.note) == (TODAY, 1, "no heat at the mill")
    assert "from 12 May" in text


def test_the_household_is_told_why_and_that_another_day_follows(visit: Visit, now: datetime) -> None:
    visits.displace(visit, "")
    later = now + timedelta(minutes=1)
    assert visit_notices.write_visits(later) == 1
    letter = letter_for(Notice.objects.get(state="waiting"), later)
    assert letter.subject.startswith("We cannot come on 12 May 2026 between 14:00 and 16:00")
    for said in (letter.text, letter.html):
        assert "something urgent came first" in said
        assert "called off" not in said


def test_whom_no_letter_reaches_is_to_be_rung(visit: Visit, homeowner_person: Person, now: datetime) -> None:
    homeowner_person.email = ""
    homeowner_person.save()
    visits.displace(visit, "")
    (call,) = [one for one in call_list.calls(now) if one.visit == visit]
    assert "we cannot come on 12 May 2026" in call.why
    assert "agree on another day" in call.why


def test_only_a_booked_visit_can_lose_its_day(visit: Visit) -> None:
    visits.cancel(visit, "")
    with pytest.raises(NotBookable):
        visits.displace(visit, "")
