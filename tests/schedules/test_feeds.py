"""A household's calendar, read back by a calendar library of other people; its address and validators."""

import gzip
from datetime import UTC, date, datetime, timedelta
from typing import Any

import icalendar
import pytest
import recurring_ical_events
import time_machine
from django.core.exceptions import ValidationError
from django.db import IntegrityError, connection, transaction
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from icalendar import vText

from equipment.models import Desk, FilterSlot, LifeEvent, Person, Site
from equipment.record import Told, record_change
from schedules import due, feeds, tasks
from schedules.calendar_events import KEEP_CANCELLED, Owner
from schedules.models import CalendarEvent, Feed, Notice, Plan, Technician, Visit
from schedules.visit_promises import promise_of
from tests.calendars import body, events, served
from tests.factories import (
    NOW,
    TODAY,
    FeedFactory,
    NoticeFactory,
    PlanFactory,
    TechnicianFactory,
    VisitFactory,
)

pytestmark = pytest.mark.django_db
ARRIVE = datetime(2026, 5, 20, 15, 30, tzinfo=UTC)
LATER = timedelta(minutes=5)


@pytest.fixture
def plan(home_slot: FilterSlot) -> Plan:
    return PlanFactory(slot=home_slot, due_on=date(2026, 6, 1))


@pytest.fixture
def site(plan: Plan) -> Site:
    return plan.slot.system.site


@pytest.fixture
def visit(site: Site) -> Visit:
    return VisitFactory(
        site=site, technician=TechnicianFactory(name="Gwen"), day=date(2026, 5, 20), arrive_at=ARRIVE,
        state=Visit.State.SCHEDULED, leave_at=ARRIVE + timedelta(minutes=40),
    )  # fmt: skip


def test_a_calendar_reader_finds_the_filter_on_its_day(site: Site, now: datetime) -> None:
    calendar = icalendar.Calendar.from_ical(body(site, now))
    found = recurring_ical_events.of(calendar).at(date(2026, 6, 1))
    assert [str(event["SUMMARY"]) for event in found] == ["Change the air filter: 16 × 25 × 1 in"]
    assert recurring_ical_events.of(calendar).at(date(2026, 6, 2)) == []
    assert str(calendar["NAME"]) == "Filters at 12 Linden Street"
    assert calendar.decoded("REFRESH-INTERVAL") == timedelta(hours=12)


def test_uids_stay_and_the_numbers_rise_when_the_date_moves(plan: Plan, site: Site, now: datetime) -> None:
    ((name, before),) = events(site, now).items()
    record_change(plan.slot, date(2026, 5, 12), None, Told("occupant", "occupant"), now)
    due.replan(now)
    ((same, after),) = events(site, now + LATER).items()
    assert same == name
    assert after["DTSTART"].dt == date(2026, 5, 12) + timedelta(days=183)
    assert (before["SEQUENCE"], after["SEQUENCE"]) == (0, 1)
    assert after["LAST-MODIFIED"].dt == now + LATER > before["LAST-MODIFIED"].dt


def test_what_has_not_changed_gives_the_same_bytes_and_validators(site: Site, now: datetime) -> None:
    first = served(site, now)
    again = served(site, now + timedelta(days=3))
    assert (again.body, again.etag, again.changed_at) == (first.body, first.etag, first.changed_at)


def test_two_changes_in_one_second_are_two_moments(plan: Plan, site: Site, now: datetime) -> None:
    before = served(site, now)
    Plan.objects.update(due_on=date(2026, 7, 1))
    after = served(site, now)
    assert before.changed_at
    assert after.changed_at
    assert after.changed_at - before.changed_at == timedelta(seconds=1)


def test_no_line_is_longer_than_75_octets_and_all_end_in_crlf(
    site: Site, visit: Visit, now: datetime
) -> None:
    FilterSlot.objects.update(location="größter Flur über der Küche " * 6)
    told = body(site, now)
    assert b"\n" not in told.replace(b"\r\n", b"")
    assert max(map(len, told.split(b"\r\n"))) <= 75  # RFC 5545, section 3.1


def test_a_visit_stands_in_the_hours_that_its_household_is_told(
    site: Site, visit: Visit, now: datetime
) -> None:
    event = events(site, now)[f"visit-{visit.pk}"]
    promise = promise_of(visit)
    assert (event["DTSTART"].dt, event["DTEND"].dt) == (promise.first, promise.last)
    assert str(event["DTSTART"].params["TZID"]) == "America/Chicago"
    assert "Gwen of Service desk comes on 20 May 2026 between 09:30 and 11:30." in str(event["DESCRIPTION"])


def test_hours_that_were_told_stay_while_they_hold(site: Site, visit: Visit, now: datetime) -> None:
    NoticeFactory(
        kind=Notice.Kind.VISIT, visit=visit, site=site, state=Notice.State.SENT, sent_at=now,
        said=promise_of(visit).as_json(),
    )  # fmt: skip
    before = events(site, now)[f"visit-{visit.pk}"]
    Visit.objects.update(arrive_at=ARRIVE + timedelta(minutes=40))
    assert events(site, now + LATER)[f"visit-{visit.pk}"] == before
    Visit.objects.update(arrive_at=ARRIVE + timedelta(minutes=80))
    after = events(site, now + LATER)[f"visit-{visit.pk}"]
    assert after["SEQUENCE"] == before["SEQUENCE"] + 1


@pytest.mark.parametrize("state", [Visit.State.CANCELLED, Visit.State.DUE, Visit.State.DISPLACED])
def test_a_visit_that_is_off_is_cancelled_for_long_enough_to_vanish(
    site: Site, visit: Visit, now: datetime, state: str
) -> None:
    name, before = f"visit-{visit.pk}", events(site, now)
    Visit.objects.update(state=state)
    off = events(site, now + LATER)[name]
    assert str(off["STATUS"]) == "CANCELLED"
    assert off["SEQUENCE"] == before[name]["SEQUENCE"] + 1
    assert off["DTSTART"] == before[name]["DTSTART"]
    assert events(site, now + KEEP_CANCELLED)[name] == off
    assert name not in events(site, now + KEEP_CANCELLED + 2 * LATER)


def test_what_was_called_off_can_come_back_and_its_numbers_go_on(
    site: Site, visit: Visit, now: datetime
) -> None:
    name = f"visit-{visit.pk}"
    events(site, now)
    Visit.objects.update(state=Visit.State.DISPLACED)
    events(site, now + LATER)
    Visit.objects.update(
        state=Visit.State.SCHEDULED, day=date(2026, 8, 20), arrive_at=ARRIVE + timedelta(days=92)
    )
    back = events(site, now + timedelta(days=70))[name]
    assert (str(back["STATUS"]), back["SEQUENCE"]) == ("CONFIRMED", 2)


def test_a_visit_that_took_place_stays_as_it_was_and_goes_after_two_weeks(
    site: Site, visit: Visit, now: datetime
) -> None:
    name, before = f"visit-{visit.pk}", events(site, now)
    Visit.objects.update(state=Visit.State.COMPLETED)
    assert events(site, ARRIVE + timedelta(hours=3))[name] == before[name]
    assert name not in events(site, ARRIVE + timedelta(days=16))
    assert not CalendarEvent.objects.exclude(cancelled_at=None).exists()


def test_a_visit_done_before_its_day_is_off_that_day(site: Site, visit: Visit, now: datetime) -> None:
    events(site, now)
    Visit.objects.update(state=Visit.State.COMPLETED, day=TODAY)
    assert str(events(site, now + LATER)[f"visit-{visit.pk}"]["STATUS"]) == "CANCELLED"


def test_an_overdue_filter_stays_on_its_day_and_says_since_when(
    plan: Plan, site: Site, now: datetime
) -> None:
    Plan.objects.update(due_on=date(2026, 4, 1))
    (event,) = events(site, now).values()
    assert event["DTSTART"].dt == date(2026, 4, 1)
    assert str(event["SUMMARY"]).startswith("Change the air filter, due since 1 April 2026: 16 ×")
    assert list(events(site, now + timedelta(days=9)).values()) == [event]
    (alarm,) = event.walk("VALARM")
    assert alarm["TRIGGER"].dt == timedelta(hours=9)


def test_a_filter_that_goes_is_called_off_even_where_it_was_overdue(
    plan: Plan, site: Site, now: datetime
) -> None:
    Plan.objects.update(due_on=date(2026, 4, 1))
    events(site, now)
    FilterSlot.objects.update(retired_on=TODAY)
    (event,) = events(site, now + LATER).values()
    assert str(event["STATUS"]) == "CANCELLED"
    assert not event.walk("VALARM")


def test_a_filter_that_only_a_technician_can_help_is_not_in_the_households_calendar(
    plan: Plan, site: Site, now: datetime
) -> None:
    Plan.objects.update(notes=["nothing_left"])
    assert events(site, now) == {}


def test_entries_keep_their_names_when_the_desk_moves_to_another_address(
    site: Site, now: datetime, settings: Any
) -> None:
    before = body(site, now)
    settings.SITE_URL = "https://filters.elsewhere.example"
    assert body(site, now) == before


def test_a_site_without_a_zone_has_the_desks(site: Site, visit: Visit, now: datetime) -> None:
    Desk.the()
    Desk.objects.update(timezone="America/Denver")
    calendar = icalendar.Calendar.from_ical(body(Site.objects.get(), now))
    assert [str(zone["TZID"]) for zone in calendar.walk("VTIMEZONE")] == ["America/Denver"]
    assert any("RRULE" in part for part in calendar.walk("DAYLIGHT"))


def test_a_calendar_of_days_alone_needs_no_zone(site: Site, now: datetime) -> None:
    assert b"VTIMEZONE" not in body(site, now)


@pytest.mark.parametrize("name", ["Line\nEND:VCALENDAR", "semi;colon, comma\\", "Zoë Ñandú 家"])
def test_odd_names_stay_within_their_lines(site: Site, visit: Visit, now: datetime, name: str) -> None:
    Site.objects.update(street=name)
    Desk.the()
    Desk.objects.update(name=name)
    calendar = icalendar.Calendar.from_ical(body(Site.objects.get(), now))
    assert str(calendar["NAME"]) == vText(f"Filters at {name}").to_ical().decode()
    assert {str(event["LOCATION"]) for event in calendar.walk("VEVENT")} == {f"{name}, Springfield"}


# The address


def get(client: Client, feed: Feed, **headers: str) -> Any:
    return client.get(reverse("feed", args=[feed.secret]), headers=headers)


def test_a_reader_that_has_it_already_gets_304_by_either_validator(site: Site, stranger: Client) -> None:
    feed: Feed = FeedFactory(site=site)
    first = get(stranger, feed)
    assert first["Content-Type"].startswith("text/calendar")
    assert first["Vary"] == "Accept-Encoding"
    packed = get(stranger, feed, **{"Accept-Encoding": "gzip"})
    assert (packed["Content-Encoding"], packed["ETag"]) == ("gzip", f"W/{first['ETag']}")
    assert gzip.decompress(packed.content) == first.content
    for known in (first["ETag"], packed["ETag"], f'"other", W/{first["ETag"]}', "*"):
        again = get(stranger, feed, **{"If-None-Match": known})
        assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
        assert again["Last-Modified"] == first["Last-Modified"]
    assert get(stranger, feed, **{"If-Modified-Since": first["Last-Modified"]}).status_code == 304
    assert get(stranger, feed, **{"If-None-Match": '"other"'}).status_code == 200


def test_an_answer_costs_two_queries_of_its_own_and_a_304_one(site: Site, stranger: Client) -> None:
    with time_machine.travel(NOW, tick=False):
        feed = served(site, NOW)
        with CaptureQueriesContext(connection) as full:
            assert get(stranger, feed).status_code == 200
        with CaptureQueriesContext(connection) as known:
            assert get(stranger, feed, **{"If-None-Match": feed.etag}).status_code == 304
    # One of each is the desk's own, for the zone of whatever is shown.
    assert (len(full), len(known)) == (3, 2)


def test_an_old_look_is_not_taken_on_trust(site: Site, stranger: Client) -> None:
    feed = served(site, NOW)
    Plan.objects.update(due_on=date(2026, 7, 1), made_at=NOW + LATER)
    with time_machine.travel(NOW + LATER, tick=False):
        assert "20260601" in get(stranger, feed).text
    with time_machine.travel(NOW + feeds.TRUSTED, tick=False):
        assert "20260701" in get(stranger, feed).text


def test_the_sweep_renders_what_changed_and_nothing_else(site: Site, visit: Visit, now: datetime) -> None:
    others = [served(FeedFactory().site, now), served(visit.technician, now), served(None, now)]
    feed = served(site, now)
    assert feeds.sweep(now + LATER) == 0
    Visit.objects.update(arrive_at=ARRIVE + timedelta(hours=2))
    assert feeds.sweep(now + LATER) == 2  # the household's and the technician's
    kept = feed.etag
    feed.refresh_from_db()
    assert feed.etag != kept
    assert tasks.refresh_calendars() >= 0
    assert len(others) == 3


def test_a_broken_calendar_stops_no_other(
    site: Site, visit: Visit, now: datetime, monkeypatch: pytest.MonkeyPatch
) -> None:
    broken, whole = FeedFactory(site=site), FeedFactory()

    def wanted(asked: Site, at: datetime) -> Any:
        if asked == site:
            raise ValueError("poisoned")
        return real(asked, at)

    real = feeds.home_feed.wanted
    monkeypatch.setattr(feeds.home_feed, "wanted", wanted)
    assert feeds.sweep(now) == 1
    whole.refresh_from_db()
    broken.refresh_from_db()
    assert (bool(whole.body), bool(broken.body)) == (True, False)


def test_a_withdrawn_address_answers_410_and_a_guessed_one_404(
    site: Site, manager: Client, stranger: Client
) -> None:
    feed: Feed = FeedFactory(site=site)
    manager.post(reverse("feed-new", args=[site.pk]))
    assert get(stranger, feed).status_code == 410
    assert stranger.get(reverse("feed", args=["guess"])).status_code == 404
    assert Feed.objects.filter(withdrawn_at=None).count() == 1


def test_an_owner_has_one_open_address(site: Site) -> None:
    technician: Technician = TechnicianFactory()
    for owner in ({"site": site}, {"technician": technician}, {"whole_desk": True}):
        Feed.objects.create(**owner)
        with pytest.raises(IntegrityError), transaction.atomic():
            Feed.objects.create(**owner)
    with pytest.raises(ValidationError):
        Feed(site=site, whole_desk=True).full_clean()
    assert feeds.feed_of(Owner(site=site)) == site.feeds.get()


def test_whoever_moves_out_does_not_take_the_address_along(
    site: Site, manager: Client, homeowner_person: Person, stranger: Client
) -> None:
    feed: Feed = FeedFactory(site=site)
    told = {"kind": LifeEvent.Kind.MOVED_OUT, "on": TODAY.isoformat(), "person": homeowner_person.pk}
    text = manager.post(reverse("site-event", args=[site.pk]), told, follow=True).text
    assert "The calendar address here answers no more" in text
    assert get(stranger, feed).status_code == 410
    newer = feeds.feed_of(Owner(site=site))
    assert feeds.withdraw_left(NOW) == 0
    assert get(stranger, newer).status_code == 200


def test_a_technician_who_left_follows_no_rounds_any_more(manager: Client, stranger: Client) -> None:
    feed = served(TechnicianFactory(), NOW)
    manager.post(reverse("technician-gone", args=[feed.technician_id]))
    assert get(stranger, feed).status_code == 410
