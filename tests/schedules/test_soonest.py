"""A call for something else than filters and tasks, and who could come for it first."""

from collections.abc import Iterator
from datetime import UTC, datetime, time, timedelta

import pytest
import time_machine
from django.test import Client
from django.urls import reverse

from equipment.models import FilterSlot, Site
from schedules import visits
from schedules.bookable import NotBookable
from schedules.models import Visit
from schedules.soonest import soonest
from schedules.visits import Booking
from shared import clock
from tests.factories import SiteFactory, TechnicianFactory, VisitFactory

pytestmark = pytest.mark.django_db
# Ten in the morning in Chicago, a Wednesday.
NOW = datetime(2026, 5, 13, 15, tzinfo=UTC)


@pytest.fixture(autouse=True)
def standing_clock() -> Iterator[None]:
    with time_machine.travel(NOW, tick=False):
        yield


@pytest.fixture
def cold(home_slot: FilterSlot) -> Booking:
    """A home without heat that wants somebody with the skill for gas, an hour."""
    Site.objects.update(latitude=41.90, longitude=-87.80)
    site = Site.objects.get(pk=home_slot.system.site_id)
    return Booking(site, [], [], wanted="no heat", wanted_minutes=60, wanted_skill="gas")


def test_the_first_to_arrive_is_named_first_and_nothing_is_booked(cold: Booking) -> None:
    near = {"start_latitude": 41.91, "start_longitude": -87.80}
    TechnicianFactory(name="Near", skills=["gas"], **near)
    TechnicianFactory(name="Far", skills=["gas"], start_latitude=42.30, start_longitude=-87.80)
    TechnicianFactory(name="No gas", skills=[], **near)
    TechnicianFactory(name="Off", skills=["gas"], day_starts=time(6), day_ends=time(9), **near)
    found = soonest(cold, NOW)
    assert [one.technician.name for one in found][:2] == ["Near", "Far"]
    assert found[0].arrive_at is not None
    assert found[1].arrive_at is not None
    assert NOW <= found[0].arrive_at < found[1].arrive_at
    assert all(one.arrive_at is None and one.why for one in found[2:])
    assert not Visit.objects.exists()


@pytest.mark.parametrize("held", [False, True])
def test_a_promise_that_would_break_is_named(cold: Booking, held: bool) -> None:
    driver = TechnicianFactory(name="Near", skills=["gas"], start_latitude=41.91, start_longitude=-87.80)
    other = SiteFactory(name="promised", latitude=41.95, longitude=-87.70)
    promised = VisitFactory(
        site=other, technician=driver, day=NOW.date(), state=Visit.State.SCHEDULED, minutes=400, pinned=held,
        window_from=time(10), window_to=time(10, 30),
        arrive_at=NOW + timedelta(minutes=20), leave_at=NOW + timedelta(minutes=420),
    )  # fmt: skip
    (one,) = soonest(cold, NOW)
    if held:
        assert one.arrive_at is None
        assert one.why
    else:
        assert one.instead_of == promised
    promised.refresh_from_db()
    assert promised.state == Visit.State.SCHEDULED
    assert Visit.objects.count() == 1


def test_a_call_is_booked_with_its_words_minutes_and_skill(cold: Booking, manager: Client) -> None:
    driver = TechnicianFactory(name="Near", skills=["gas"], start_latitude=41.91, start_longitude=-87.80)
    page = reverse("site-visit", args=[cold.site.pk])
    told = {"wanted": "no heat", "wanted_minutes": "75", "wanted_skill": "gas"}
    text = manager.post(page, {**told, "what": "soonest"}).text
    assert "Who could be there today, every other promise kept" in text
    assert "at about" in text
    assert not Visit.objects.exists()
    manager.post(page, {**told, "technician": driver.pk, "day": "2026-05-13"})
    visit = Visit.objects.get()
    assert (visit.wanted, visit.minutes, visit.skills) == ("no heat", 85, ["gas"])
    assert visit.arrive_at is not None
    assert "no heat" in manager.get(reverse("visit", args=[visit.pk])).text
    assert "no heat" in manager.get(reverse("day", args=[driver.pk, "2026-05-13"])).text


def test_nothing_wanted_is_refused(cold: Booking) -> None:
    with pytest.raises(NotBookable, match="say what somebody is needed for"):
        visits.book(Booking(cold.site, [], []), NOW)


def test_whose_time_moves_for_a_call_is_said(cold: Booking, manager: Client) -> None:
    """The other home was told of hours; its time moves within them, as there is no gap before it."""
    driver = TechnicianFactory(name="Near", skills=["gas"], start_latitude=41.91, start_longitude=-87.80)
    other = SiteFactory(name="h", street="9 Elm Street", latitude=41.91, longitude=-87.80)
    first = NOW + timedelta(minutes=20)
    VisitFactory(
        site=other, technician=driver, day=NOW.date(), state=Visit.State.SCHEDULED, minutes=375,
        window_from=time(10), window_to=time(17), arrive_at=first, leave_at=first + timedelta(minutes=375),
    )  # fmt: skip
    told = {"wanted": "no heat", "wanted_minutes": "5", "wanted_skill": "gas", "technician": driver.pk}
    page = manager.post(
        reverse("site-visit", args=[cold.site.pk]), {**told, "day": "2026-05-13"}, follow=True
    )
    moved = Visit.objects.get(site=other).arrive_at
    assert moved is not None
    assert moved != first
    at = moved.astimezone(clock.zone("America/Chicago"))
    assert f"Other times moved with it: 9 Elm Street from 10:20 to {at:%H:%M}." in page.text
