"""A household that did not open hears of it once, and how to agree on another day."""

from datetime import datetime, timedelta

import pytest
import time_machine
from django.test import Client

from equipment.models import FilterSlot, Person, Site, User
from schedules import sending, shut_letters, visits
from schedules.emails import letter_for
from schedules.models import Notice, Technician, Visit
from schedules.visits import Booking
from tests.factories import TODAY, PlanFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def shut(
    home: Site, home_slot: FilterSlot, technician_user: User, homeowner_person: Person, now: datetime
) -> Visit:
    PlanFactory(slot=home_slot)
    mine = Technician.objects.get(user=technician_user)
    visit = visits.book(Booking(home, [home_slot], [], mine, TODAY, sure=True), now)
    return visits.no_access(visit, "dog in the yard", now)


def test_one_letter_with_the_hour_and_what_waits(shut: Visit, now: datetime) -> None:
    later = now + timedelta(minutes=5)
    assert (shut_letters.write_shut(later), shut_letters.write_shut(later)) == (1, 0)
    letter = letter_for(Notice.objects.get(), later)
    assert letter.subject == "We were at your door on 12 May 2026"
    for said in (letter.text, letter.html):
        assert "on 12 May 2026 at 10:00" in said
        assert "nobody opened" in said
        assert "16 × 25 × 1 in" in said
        assert "dog in the yard" not in said  # the technician's own note


def test_in_spanish(shut: Visit, homeowner_person: Person, now: datetime) -> None:
    homeowner_person.language = "es"
    homeowner_person.save()
    shut_letters.write_shut(now)
    letter = letter_for(Notice.objects.get(), now)
    assert "Estuvimos en su puerta" in letter.subject
    assert "nadie abrió" in letter.text


def test_it_does_not_go_out_once_somebody_is_to_come_again(
    shut: Visit, home_slot: FilterSlot, technician_user: User, now: datetime
) -> None:
    shut_letters.write_shut(now)
    mine = Technician.objects.get(user=technician_user)
    again = Booking(shut.site, [home_slot], [], mine, TODAY + timedelta(days=1), sure=True)
    visits.book(again, now)
    with time_machine.travel(now + timedelta(days=1), tick=False):
        sending.send_all(now + timedelta(days=1))
    row = Notice.objects.get(kind="shut")
    assert row.state == Notice.State.NOT_SENT
    assert "come again" in row.why


def test_old_news_are_none_and_who_stopped_letters_gets_none(
    shut: Visit, homeowner_person: Person, now: datetime
) -> None:
    assert shut_letters.write_shut(now + timedelta(days=4)) == 0
    homeowner_person.wants_visit_mail = False
    homeowner_person.save()
    assert shut_letters.write_shut(now) == 0


def test_the_next_technician_reads_of_it_at_the_door(
    shut: Visit, home_slot: FilterSlot, technician: Client, technician_user: User, now: datetime
) -> None:
    mine = Technician.objects.get(user=technician_user)
    with time_machine.travel(now, tick=False):
        visit = visits.book(Booking(shut.site, [home_slot], [], mine, TODAY, sure=True), now)
        for address in (f"/visits/{visit.pk}/", f"/days/{mine.pk}/{TODAY}/"):
            text = technician.get(address).text
            assert "Nobody opened on 12 May 2026 10:00" in text
            assert "dog in the yard" in text
