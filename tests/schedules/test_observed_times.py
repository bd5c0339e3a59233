"""Arrivals said at the door correct ways and stays of the desk's rounds."""

from datetime import datetime, timedelta

import pytest
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot
from equipment.record import NotRecordable
from schedules import observed_times, visits
from schedules.models import Policy, Technician, Visit
from schedules.travel import reckoned_between, travel_between
from tests.factories import NOW, TODAY, SiteFactory, TechnicianFactory, VisitFactory

pytestmark = pytest.mark.django_db
PLACES = [(41.90, -87.80), (41.95, -87.70)]


def a_round(day_back: int, stretch: float) -> None:
    """Two homes of one day; the way between them took ``stretch`` times what is reckoned, each stay 45 of 30
    minutes."""
    technician = Technician.objects.first() or TechnicianFactory()
    way = float(reckoned_between(PLACES).seconds[0][1] or 0)
    at: datetime = NOW - timedelta(days=day_back)
    for latitude, longitude in PLACES:
        site = SiteFactory(latitude=latitude, longitude=longitude)
        left = at + timedelta(minutes=45)
        VisitFactory(
            site=site, technician=technician, day=at.date(), state=Visit.State.COMPLETED, minutes=30,
            arrived_at=at, completed_at=left,
        )  # fmt: skip
        at = left + timedelta(seconds=stretch * way)


def test_ways_and_stays_on_record_set_the_pace() -> None:
    for back in range(1, 41):
        a_round(back, 1.3)
    assert observed_times.refresh(NOW)
    policy = Policy.the()
    assert (policy.ways_observed, policy.stays_observed) == (40, 80)
    # By hand: 1.3 to the power of 40/60, 1.5 to the power of 80/100.
    assert policy.way_factor == pytest.approx(1.3 ** (40 / 60), abs=0.001)
    assert policy.stay_factor == pytest.approx(1.5**0.8, abs=0.001)
    assert not observed_times.refresh(NOW)
    raw, told = reckoned_between(PLACES), travel_between(PLACES)
    assert told.seconds[0][1] == round((raw.seconds[0][1] or 0) * policy.way_factor)
    assert told.metres == raw.metres


def test_offers_and_bookings_count_with_the_pace(home_slot: FilterSlot) -> None:
    assert visits.minutes_for([home_slot], []) == 22
    Policy.objects.update_or_create(pk=1, defaults={"stay_factor": 1.5})
    booked = visits.book(visits.Booking(home_slot.system.site, [home_slot], []), NOW)
    assert booked.minutes == 33


def test_years_ago_and_visits_without_an_arrival_say_nothing() -> None:
    a_round(500, 2.0)
    VisitFactory(state=Visit.State.COMPLETED, completed_at=NOW, technician=Technician.objects.get())
    observed_times.refresh(NOW)
    assert (Policy.the().ways_observed, Policy.the().stays_observed) == (0, 0)


def test_only_a_visit_of_today_begins_and_the_first_time_stands() -> None:
    technician = TechnicianFactory()
    visit = VisitFactory(technician=technician, day=TODAY, state=Visit.State.SCHEDULED)
    visits.arrive(visit, NOW)
    visits.arrive(visit, NOW + timedelta(minutes=9))
    visit.refresh_from_db()
    assert (visit.state, visit.arrived_at) == (Visit.State.UNDER_WAY, NOW)
    later = VisitFactory(technician=technician, day=TODAY + timedelta(days=1), state=Visit.State.SCHEDULED)
    with pytest.raises(NotRecordable, match="visit of today"):
        visits.arrive(later, NOW)


def test_the_technician_says_so_on_the_visits_page(manager: Client) -> None:
    visit = VisitFactory(technician=TechnicianFactory(), day=TODAY + timedelta(days=2), state="scheduled")
    answer = manager.post(reverse("visit-arrived", args=[visit.pk]), follow=True)
    assert "Only a visit of today can have begun" in answer.text
    assert "once technicians say" in manager.get(reverse("people")).text.lower()
