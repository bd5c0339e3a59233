"""Households are told of visits once, of every true change, and of nothing that is no longer so."""

from datetime import UTC, date, datetime, time, timedelta

import pytest
from django.core import mail
from django.test import Client
from icalendar import Calendar

from equipment.models import FilterSlot, Person, Site
from schedules import call_list, emails, sending, visit_notices, visits
from schedules.models import Notice, Rung, Technician, Visit
from schedules.visit_promises import Promise, hours_words, promise_of, still_true
from tests.factories import TODAY, SiteFactory, TechnicianFactory, VisitFactory, VisitJobFactory

pytestmark = pytest.mark.django_db
TOMORROW = TODAY + timedelta(days=1)
TEN = datetime(2026, 5, 13, 15, 10, tzinfo=UTC)  # ten past ten in Chicago


@pytest.fixture
def gwen() -> Technician:
    return TechnicianFactory(name="Gwen")


@pytest.fixture
def visit(home: Site, home_slot: FilterSlot, homeowner_person: Person, gwen: Technician) -> Visit:
    """Tomorrow at ten past ten, at the home of somebody with mail."""
    made: Visit = VisitFactory(
        site=home, technician=gwen, day=TOMORROW, state=Visit.State.SCHEDULED,
        arrive_at=TEN, leave_at=TEN + timedelta(minutes=30),
    )  # fmt: skip
    VisitJobFactory(visit=made, slot=home_slot, task=None)
    return made


def tell(now: datetime) -> list[mail.EmailMessage]:
    """What goes out within the next half hour."""
    before = len(mail.outbox)
    visit_notices.write_visits(now)
    while sending.send_one(now + timedelta(minutes=30)):
        pass
    return list(mail.outbox[before:])


def test_a_booked_visit_is_told_once_with_its_day_and_hours(visit: Visit, now: datetime) -> None:
    (letter,) = tell(now)
    assert letter.subject == "We come on 13 May 2026 between 09:00 and 11:00"
    assert letter.to == ["robin@home.example"]
    assert "Gwen" in letter.body
    assert "16 × 25 × 1 in" in letter.body
    assert tell(now + timedelta(hours=1)) == []


def test_the_letter_of_a_visit_is_not_stopped_with_those_of_filters(visit: Visit, now: datetime) -> None:
    Person.objects.update(wants_filter_mail=False)
    (letter,) = tell(now)
    stop = letter.extra_headers["List-Unsubscribe"].strip("<>").removeprefix("http://127.0.0.1:8000")
    Client().post(stop, {"List-Unsubscribe": "One-Click"})
    person = Person.objects.get()
    assert (person.wants_filter_mail, person.wants_visit_mail, person.wants_record_mail) == (
        False, False, True,
    )  # fmt: skip


def test_who_wants_no_letters_about_visits_is_rung(visit: Visit, now: datetime) -> None:
    Person.objects.update(wants_visit_mail=False)
    assert tell(now) == []
    (call,) = call_list.calls(now)
    assert "does not want visit mail" in call.why


def test_its_calendar_file_names_the_same_event_as_the_feed(visit: Visit, now: datetime) -> None:
    (letter,) = tell(now)
    ((_name, text, kind),) = letter.attachments
    (event,) = Calendar.from_ical(text).walk("VEVENT")
    assert kind == "text/calendar"
    assert event["uid"].startswith(f"visit-{visit.pk}@")
    assert event.decoded("dtstart") == datetime(2026, 5, 13, 14, tzinfo=UTC)


def test_agreed_hours_are_told_as_agreed(visit: Visit, now: datetime) -> None:
    Visit.objects.update(window_from=time(9), window_to=time(12))
    assert tell(now)[0].subject == "We come on 13 May 2026 between 09:00 and 12:00"


def test_a_visit_without_hours_is_told_by_its_day_and_again_with_its_hours(
    visit: Visit, now: datetime
) -> None:
    Visit.objects.update(arrive_at=None, leave_at=None)
    assert tell(now)[0].subject == "We come on 13 May 2026"
    Visit.objects.update(arrive_at=TEN)
    assert "between 09:00 and 11:00" in tell(now + timedelta(hours=1))[0].subject


@pytest.mark.parametrize(("later", "letters"), [(45, 0), (120, 1)])
def test_only_an_arrival_outside_the_hours_told_is_told_again(
    visit: Visit, now: datetime, later: int, letters: int
) -> None:
    tell(now)
    Visit.objects.update(arrive_at=TEN + timedelta(minutes=later))
    moved = tell(now + timedelta(hours=1))
    assert len(moved) == letters
    assert all(letter.subject.startswith("Moved: we come on 13 May 2026") for letter in moved)


def test_a_visit_on_another_day_is_told_as_moved(visit: Visit, now: datetime) -> None:
    tell(now)
    Visit.objects.update(day=date(2026, 5, 20), arrive_at=TEN + timedelta(days=7))
    assert tell(now + timedelta(hours=1))[0].subject.startswith("Moved: we come on 20 May 2026")


def test_a_visit_called_off_is_told_to_those_who_knew_of_it_and_to_nobody_else(
    visit: Visit, now: datetime
) -> None:
    other = VisitFactory(site=SiteFactory(), technician=visit.technician, day=TOMORROW, state="cancelled")
    tell(now)
    Visit.objects.update(state=Visit.State.CANCELLED)
    (letter,) = tell(now + timedelta(hours=1))
    assert letter.subject == "Called off: our visit on 13 May 2026 between 09:00 and 11:00"
    assert not Notice.objects.filter(visit=other).exists()
    assert tell(now + timedelta(hours=2)) == []


def test_changes_within_a_few_minutes_make_one_letter(visit: Visit, now: datetime) -> None:
    visit_notices.write_visits(now)
    Visit.objects.update(day=date(2026, 5, 20), arrive_at=TEN + timedelta(days=7))
    visit_notices.write_visits(now + timedelta(minutes=3))
    (letter,) = tell(now + timedelta(minutes=4))
    assert "20 May 2026" in letter.subject


def test_a_visit_called_off_before_its_letter_went_is_not_spoken_of_and_the_row_says_why(
    visit: Visit, now: datetime
) -> None:
    visit_notices.write_visits(now)
    Visit.objects.update(state=Visit.State.CANCELLED)
    assert tell(now) == []
    assert Notice.objects.get().why == "the visit was called off before anybody was told of it"


@pytest.mark.parametrize("state", [Visit.State.COMPLETED, Visit.State.NO_ACCESS])
def test_a_visit_that_is_over_is_not_announced(visit: Visit, now: datetime, state: str) -> None:
    visit_notices.write_visits(now)
    Visit.objects.update(state=state)
    assert tell(now) == []


def test_a_past_visit_is_not_announced(visit: Visit, now: datetime) -> None:
    Visit.objects.update(day=TODAY - timedelta(days=1))
    assert tell(now) == []


def test_a_letter_at_night_waits_for_seven_in_the_households_morning(visit: Visit, now: datetime) -> None:
    night = datetime(2026, 5, 13, 4, tzinfo=UTC)  # eleven in the evening before
    visit_notices.write_visits(night)
    assert Notice.objects.get().send_at == datetime(2026, 5, 13, 12, tzinfo=UTC)


def test_the_household_reads_its_own_clock(visit: Visit, home: Site) -> None:
    told = hours_words(promise_of(visit), Site(timezone="America/New_York").zone("UTC"))
    assert told == "on 13 May 2026 between 10:00 and 12:00"


def test_nobody_is_promised_an_hour_before_the_technician_sets_out(visit: Visit) -> None:
    visit.arrive_at = datetime(2026, 5, 13, 13, 5, tzinfo=UTC)  # five past eight in Chicago
    assert promise_of(visit).first == datetime(2026, 5, 13, 13, tzinfo=UTC)


def test_a_promise_survives_being_stored(visit: Visit) -> None:
    promise = promise_of(visit)
    assert Promise.from_json(promise.as_json()) == promise
    assert still_true(promise, visit)


def test_a_household_without_mail_is_rung_and_leaves_the_list_once_told(visit: Visit, now: datetime) -> None:
    Person.objects.update(email="")
    assert tell(now) == []
    (call,) = call_list.calls(now)
    assert call.why == "tell them that we come on 13 May 2026 between 09:00 and 11:00 (no mail address)"
    call_list.write_call(call.key, False, "", None, now)
    assert [one.key for one in call_list.calls(now)] == [call.key]
    call_list.write_call(call.key, True, "will be in", None, now)
    assert call_list.calls(now) == []
    with pytest.raises(call_list.NotToRing):
        call_list.write_call(call.key, True, "", None, now)
    Visit.objects.update(day=date(2026, 5, 20), arrive_at=TEN + timedelta(days=7))
    assert "20 May" in call_list.calls(now)[0].why
    assert Rung.objects.count() == 2


def test_a_visit_that_no_letter_reached_is_rung_about(visit: Visit, now: datetime) -> None:
    visit_notices.write_visits(now)
    Notice.objects.update(state=Notice.State.FAILED, why="mailbox full")
    assert "mailbox full" in call_list.calls(now)[0].why


def test_a_waiting_letter_of_a_visit_can_be_looked_at(visit: Visit, now: datetime) -> None:
    visit_notices.write_visits(now)
    assert "Gwen" in emails.letter_for(Notice.objects.get(), now).text


def test_nobody_is_written_to_while_somebody_stands_at_their_door(visit: Visit, now: datetime) -> None:
    Visit.objects.update(day=TODAY, arrive_at=now + timedelta(hours=1), leave_at=now + timedelta(hours=2))
    assert visit_notices.write_visits(now) == 1
    visit.refresh_from_db()
    visits.arrive(visit, now)
    assert sending.stale(Notice.objects.get(), now) == "somebody is at the door"
    Notice.objects.all().delete()
    assert visit_notices.write_visits(now) == 0


def test_hours_that_the_day_has_no_room_for_are_not_promised(visit: Visit, now: datetime, home: Site) -> None:
    Site.objects.filter(pk=home.pk).update(latitude=41.9, longitude=-87.8)
    Visit.objects.update(arrive_at=None, leave_at=None, window_from=time(10), window_to=time(11))
    assert visit_notices.write_visits(now) == 1  # nothing on that day is in order yet
    other = SiteFactory(latitude=41.8, longitude=-87.7)
    VisitFactory(
        site=other, technician=visit.technician, day=TOMORROW, state=Visit.State.SCHEDULED, arrive_at=TEN
    )
    assert sending.stale(Notice.objects.get(), now) == "it has no time in the order of its day"
    Notice.objects.all().delete()
    assert visit_notices.write_visits(now) == 0
