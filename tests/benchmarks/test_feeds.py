"""A calendar of a thousand events: making it, making it again, and a 304, each beside a yardstick."""

import time
from collections.abc import Callable
from datetime import timedelta

import icalendar
import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from schedules import feeds
from schedules.calendar_events import Owner
from schedules.models import Technician, Visit
from tests.factories import NOW, SiteFactory, TechnicianFactory

pytestmark = [pytest.mark.benchmark, pytest.mark.long, pytest.mark.django_db]
EVENTS = 1_000


def seconds(work: Callable[[], object], times: int = 5) -> float:
    """The shortest of so many."""
    taken = []
    for _ in range(times):
        began = time.perf_counter()
        work()
        taken.append(time.perf_counter() - began)
    return min(taken)


def book(technician: Technician) -> None:
    """A thousand stops of sixty days, at one home."""
    site = SiteFactory(street="12 Linden Street", city="Springfield")
    starts = [NOW + timedelta(days=n // 17, minutes=n % 17 * 30) for n in range(EVENTS)]
    Visit.objects.bulk_create(
        Visit(
            site=site, technician=technician, day=at.date(), state=Visit.State.SCHEDULED, stop_number=n + 1,
            arrive_at=at, leave_at=at + timedelta(minutes=25),
        )
        for n, at in enumerate(starts)
    )  # fmt: skip


def built_anew(text: str) -> Callable[[], bytes]:
    """The same events, built and written by the library as whoever keeps nothing would."""
    events = icalendar.Calendar.from_ical(text).events

    def build() -> bytes:
        calendar = icalendar.Calendar()
        for old in events:
            event = icalendar.Event()
            for name in ("uid", "dtstart", "dtend", "dtstamp", "last-modified"):
                event.add(name, old.decoded(name))
            for name in ("summary", "status", "location", "sequence"):
                event.add(name, old[name])
            calendar.add_component(event)
        return bytes(calendar.to_ical())

    return build


def test_a_calendar_of_a_thousand_events(client: Client, ratio: Callable[[str, float, float], float]) -> None:
    technician = TechnicianFactory()
    book(technician)
    feed = feeds.feed_of(Owner(technician=technician))
    with time_machine.travel(NOW, tick=False):
        first_s = seconds(lambda: feeds.bring_up_to_date(feed, NOW), times=1)
        assert feed.body.count("BEGIN:VEVENT") == EVENTS
        library_s = seconds(built_anew(feed.body))
        ratio("a first calendar of 1000 events, against the library building it", first_s, library_s)
        again_s = seconds(lambda: feeds.bring_up_to_date(feed, NOW))
        ratio("the same looked at again, nothing changed", again_s, library_s)
        ratio("a sweep over it, nothing changed", seconds(lambda: feeds.sweep(NOW)), library_s)
        address = reverse("feed", args=[feed.secret])
        full_s = seconds(lambda: client.get(address).content)
        ratio("the library building it, against a full answer", library_s, full_s)
        known = {"If-None-Match": feed.etag}
        assert client.get(address, headers=known).status_code == 304
        known_s = seconds(lambda: client.get(address, headers=known))
        ratio("a 304, against a full answer", known_s, full_s)
