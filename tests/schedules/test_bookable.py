"""What is asked about before it is booked: days and people that do not suit, and a day that is full."""

from datetime import time, timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from equipment.models import FilterSlot, Site
from schedules import visits
from schedules.bookable import Hours, Unsuited
from schedules.models import Visit
from schedules.plain_reasons import said_plainly
from schedules.visits import Booking
from shared import clock
from tests.factories import NOW, TODAY, HomeHoursFactory, TechnicianFactory

pytestmark = pytest.mark.django_db
WEDNESDAY = TODAY + timedelta(days=1)


@pytest.mark.parametrize(
    ("suits", "weekdays", "hours", "why"),
    [
        ({"weekdays": [3]}, [0, 1, 2, 3, 4], (None, None), "A Wednesday does not suit this home"),
        ({}, [0, 1], (None, None), "does not usually work on a Wednesday"),
        ({"not_before": time(14)}, [2], (time(9), time(11)), "The hours do not suit"),
    ],
)
def test_what_does_not_suit_is_asked_about_and_booked_for_who_is_sure(
    home_slot: FilterSlot, suits: dict[str, object], weekdays: list[int], hours: tuple[time, time], why: str
) -> None:
    site = home_slot.system.site
    HomeHoursFactory(site=site, **suits)
    who = TechnicianFactory(weekdays=weekdays)
    with pytest.raises(Unsuited, match=why):
        visits.book(Booking(site, [home_slot], [], who, WEDNESDAY, *hours), NOW)
    assert (
        visits.book(Booking(site, [home_slot], [], who, WEDNESDAY, *hours, sure=True), NOW).day == WEDNESDAY
    )


def test_somebody_who_is_not_to_come_is_asked_about_and_moving_asks_too(home_slot: FilterSlot) -> None:
    site, who, other = home_slot.system.site, TechnicianFactory(), TechnicianFactory()
    HomeHoursFactory(site=site).not_by.add(who)
    visit = visits.book(Booking(site, [home_slot], [], other, WEDNESDAY), NOW)
    with pytest.raises(Unsuited, match="is not to come"):
        visits.schedule(visit, who, WEDNESDAY, NOW)
    assert visits.schedule(visit, who, WEDNESDAY, NOW, sure=True).technician == who


def test_the_form_asks_and_then_takes_it(manager: Client, home_slot: FilterSlot) -> None:
    site = home_slot.system.site
    FilterSlot.objects.update(changed_by="technician")
    who, day = TechnicianFactory(weekdays=[]), timezone.localdate() + timedelta(days=3)
    told = {"slots": [home_slot.pk], "technician": who.pk, "day": day.isoformat()}
    asked = manager.post(reverse("site-visit", args=[site.pk]), told)
    assert asked.status_code == 422
    assert "does not usually work" in asked.text
    assert "Book it all the same" in asked.text
    assert not Visit.objects.exists()
    manager.post(reverse("site-visit", args=[site.pk]), told | {"sure": "on"})
    assert Visit.objects.get().day == day


def test_today_without_time_left_is_asked_about_in_plain_words(
    manager: Client, home_slot: FilterSlot, monkeypatch: pytest.MonkeyPatch
) -> None:
    Site.objects.update(latitude=41.9, longitude=-87.8)
    who = TechnicianFactory(start_latitude=41.88, start_longitude=-87.75, weekdays=list(range(7)))
    now = clock.start_of_day(WEDNESDAY, clock.zone("America/Chicago")) + timedelta(hours=16, minutes=50)
    monkeypatch.setattr(timezone, "now", lambda: now)
    told = {"slots": [home_slot.pk], "technician": who.pk, "day": WEDNESDAY.isoformat()}
    asked = manager.post(reverse("site-visit", args=[home_slot.system.site_id]), told)
    assert "Today has no time for it." in asked.text
    assert "be back by the end of the day" in asked.text
    assert not Visit.objects.exists()


def test_hours_meet_at_their_ends_and_where_they_are_open() -> None:
    assert Hours(time(9), time(11)).meet(time(11), None)
    assert not Hours(time(9), time(11)).meet(time(11, 1), None)
    assert Hours().meet(None, None)


def test_a_reason_that_is_not_known_is_passed_on() -> None:
    assert said_plainly("the moon is full") == "The moon is full."
    assert said_plainly("") == ""
    assert said_plainly("no technician has the skill gas") == "Nobody has what it takes: the skill gas."
