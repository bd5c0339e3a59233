"""Calendars, read back by a calendar library of other people."""

from datetime import date, datetime, timedelta
from typing import Any

import icalendar
import pytest
import recurring_ical_events
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot
from equipment.record import Told, record_change
from schedules import due, feeds
from schedules.models import Feed, Plan, Visit
from tests.factories import FeedFactory, PlanFactory, TechnicianFactory, VisitFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def plan(home_slot: FilterSlot) -> Plan:
    return PlanFactory(slot=home_slot, due_on=date(2026, 6, 1))


def events(body: bytes) -> list[icalendar.Event]:
    return list(icalendar.Calendar.from_ical(body).walk("VEVENT"))


def test_a_calendar_reader_finds_the_filter_on_its_day(plan: Plan, now: datetime) -> None:
    calendar = icalendar.Calendar.from_ical(feeds.render(plan.slot.system.site, now).body)
    found = recurring_ical_events.of(calendar).at(date(2026, 6, 1))
    assert [str(event["SUMMARY"]) for event in found] == ["Change the air filter: 16 × 25 × 1 in"]
    assert recurring_ical_events.of(calendar).at(date(2026, 6, 2)) == []


def test_uids_are_unique_and_stay_when_the_date_moves(plan: Plan, now: datetime) -> None:
    before = [str(event["UID"]) for event in events(feeds.render(plan.slot.system.site, now).body)]
    record_change(plan.slot, date(2026, 5, 12), None, Told("occupant", "occupant"), now)
    due.replan(now)
    after = events(feeds.render(plan.slot.system.site, now).body)
    assert [str(event["UID"]) for event in after] == before
    assert after[0]["DTSTART"].dt == date(2026, 5, 12) + timedelta(days=183)
    assert len(set(before)) == len(before)


def test_the_same_plan_gives_the_same_bytes(plan: Plan, now: datetime) -> None:
    first = feeds.render(plan.slot.system.site, now)
    assert feeds.render(plan.slot.system.site, now + timedelta(hours=3)) == first


def test_no_line_is_longer_than_75_octets_and_all_end_in_crlf(plan: Plan, now: datetime) -> None:
    FilterSlot.objects.update(location="größter Flur über der Küche " * 6)
    body = feeds.render(plan.slot.system.site, now).body
    lines = body.split(b"\r\n")
    assert b"\n" not in body.replace(b"\r\n", b"")
    assert max(map(len, lines)) <= 75  # RFC 5545, section 3.1


def test_visits_are_in_the_calendar_at_their_hour(plan: Plan, now: datetime) -> None:
    arrive = datetime.fromisoformat("2026-05-20T15:30:00+00:00")
    VisitFactory(
        site=plan.slot.system.site,
        technician=TechnicianFactory(),
        day=date(2026, 5, 20),
        state=Visit.State.SCHEDULED,
        arrive_at=arrive,
        leave_at=arrive + timedelta(minutes=40),
    )
    found = {
        str(event["UID"]).split("-")[0]: event
        for event in events(feeds.render(plan.slot.system.site, now).body)
    }
    assert found["visit"]["DTSTART"].dt == arrive


def test_a_reader_that_has_it_already_gets_304(plan: Plan, stranger: Client) -> None:
    feed: Feed = FeedFactory(site=plan.slot.system.site)
    first = stranger.get(reverse("feed", args=[feed.secret]))
    assert first["Content-Type"].startswith("text/calendar")
    again = stranger.get(reverse("feed", args=[feed.secret]), headers={"If-None-Match": first["ETag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_a_withdrawn_address_answers_410_and_a_guessed_one_404(
    plan: Plan, manager: Client, stranger: Client
) -> None:
    feed: Feed = FeedFactory(site=plan.slot.system.site)
    manager.post(reverse("feed-new", args=[plan.slot.system.site_id]))
    assert stranger.get(reverse("feed", args=[feed.secret])).status_code == 410
    assert stranger.get(reverse("feed", args=["guess"])).status_code == 404
    assert Feed.objects.filter(withdrawn_at=None).count() == 1


def test_entries_keep_their_names_when_the_desk_moves_to_another_address(
    plan: Plan, now: datetime, settings: Any
) -> None:
    before = [str(event["UID"]) for event in events(feeds.render(plan.slot.system.site, now).body)]
    settings.SITE_URL = "https://filters.elsewhere.example"
    assert [str(event["UID"]) for event in events(feeds.render(plan.slot.system.site, now).body)] == before


def test_an_overdue_filter_stands_on_today(plan: Plan, now: datetime) -> None:
    Plan.objects.update(due_on=date(2026, 4, 1))
    (event,) = events(feeds.render(plan.slot.system.site, now).body)
    assert event["DTSTART"].dt == date(2026, 5, 12)
    (alarm,) = event.walk("VALARM")
    assert alarm["TRIGGER"].dt == timedelta(hours=9)


def test_a_filter_that_only_a_technician_can_help_is_not_in_the_households_calendar(
    plan: Plan, now: datetime
) -> None:
    Plan.objects.update(notes=["nothing_left"])
    assert events(feeds.render(plan.slot.system.site, now).body) == []
